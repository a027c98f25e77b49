package modbus

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"github.com/ampledger/ampledger/plugins/driver/modbus/register"
	"github.com/ampledger/ampledger/plugins/plugin"
)

type inputSettings struct {
	Name      string         `json:"name"`
	Address   *int           `json:"address"`
	Type      register.Type  `json:"type"`
	Order     register.Order `json:"order"`
	Unit      string         `json:"unit"`
	Scale     *float64       `json:"scale"`
	Averaging *bool          `json:"averaging"`
	Plausible []float64      `json:"plausible"`
}

// input is a number of an answer as it goes out.
type input struct {
	*plugin.Input
	register.Field
	scale     float64     // what one count is in the input's unit; of a code 1
	plausible *[2]float64 // nil = anything
}

var (
	units     = []string{"V", "A", "Cel", "1", "code"}
	codeTypes = []register.Type{register.Int16, register.Uint16, register.Int32}
)

const mostAddress = math.MaxUint16

func (s *inputSettings) check(key string, names map[string]bool) (input, error) {
	in := input{Input: &plugin.Input{Name: s.Name, Unit: s.Unit}, Field: register.Field{Type: s.Type, Order: s.Order}, scale: 1}
	faults := []error{s.checkName(key, names), s.checkPlace(key), s.checkOrder(key), s.checkUnit(key), s.checkScale(key), s.checkPlausible(key)}
	if s.Averaging == nil {
		faults = append(faults, missing(key+".averaging", "say whether a value is a mean over the interval before it (true) or a sample (false)"))
	}
	if err := errors.Join(faults...); err != nil {
		return in, err
	}
	in.At, in.Averaging = *s.Address, *s.Averaging
	if in.Order == "" {
		in.Order = register.ABCD
	}
	if len(s.Plausible) > 0 {
		in.plausible = (*[2]float64)(s.Plausible)
	}
	switch {
	case s.Scale != nil && s.Unit == "code":
		in.VoltsPerCode = *s.Scale
	case s.Scale != nil:
		in.scale = *s.Scale
	}
	return in, nil
}

func (s *inputSettings) checkName(key string, names map[string]bool) error {
	switch {
	case s.Name == "":
		return missing(key+".name", "give the input one")
	case names[s.Name]:
		return fault(key+".name", fmt.Errorf("%q is the name of an input before it, give another", s.Name))
	}
	names[s.Name] = true
	return nil
}

// checkPlace looks at the type and whether the registers it takes are there.
func (s *inputSettings) checkPlace(key string) error {
	words := s.Type.Words()
	switch {
	case words == 0:
		return fault(key+".type", fmt.Errorf("%q is none of %v", s.Type, register.Types))
	case s.Address == nil:
		return missing(key+".address", "give the number of its first register")
	case *s.Address < 0 || *s.Address+words-1 > mostAddress:
		return fault(key+".address", fmt.Errorf("%d: a value of %d registers is not within 0 to %d", *s.Address, words, mostAddress))
	}
	return nil
}

func (s *inputSettings) checkOrder(key string) error {
	switch {
	case s.Order != "" && !slices.Contains(register.Orders, s.Order):
		return fault(key+".order", fmt.Errorf("%q is none of %v", s.Order, register.Orders))
	case s.Type.Words() == 1 && (s.Order == register.CDAB || s.Order == register.DCBA):
		return fault(key+".order", fmt.Errorf("%s has one register, so its order is abcd or badc", s.Type))
	}
	return nil
}

func (s *inputSettings) checkUnit(key string) error {
	switch {
	case !slices.Contains(units, s.Unit):
		return fault(key+".unit", fmt.Errorf("%q is none of %v", s.Unit, units))
	case s.Unit == "code" && s.Type.Words() > 0 && !slices.Contains(codeTypes, s.Type):
		return fault(key+".unit", fmt.Errorf("codes are %v, not %s", codeTypes, s.Type))
	}
	return nil
}

func (s *inputSettings) checkScale(key string) error {
	switch {
	case s.Scale == nil:
		return nil
	case *s.Scale == 0:
		return fault(key+".scale", errors.New("0 makes every value the same, give what one count is"))
	case math.IsInf(*s.Scale, 0) || math.IsNaN(*s.Scale):
		return fault(key+".scale", fmt.Errorf("%v is not finite", *s.Scale))
	}
	return nil
}

func (s *inputSettings) checkPlausible(key string) error {
	switch n := len(s.Plausible); {
	case n == 0:
		return nil
	case n != 2 || !(s.Plausible[0] < s.Plausible[1]):
		return fault(key+".plausible", fmt.Errorf("%v is not [least, greatest]", s.Plausible))
	}
	return nil
}
