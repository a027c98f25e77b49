package replay

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// units are those of plugin.Input.
var units = []string{"code", "V", "A", "Cel", "1"}

// inputSettings are those of one input in the package comment.
type inputSettings struct {
	Name          string   `json:"name"`
	Column        string   `json:"column"`
	Scale         *float64 `json:"scale"`
	Offset        float64  `json:"offset"`
	Unit          string   `json:"unit"`
	Averaging     bool     `json:"averaging"`
	Bits          *int     `json:"bits"`
	Signed        *bool    `json:"signed"`
	VoltsPerCode  *float64 `json:"volts_per_code"`
	ZeroCodeVolts *float64 `json:"zero_code_volts"`
}

// input is one input and where it comes from.
type input struct {
	*plugin.Input
	column        int
	scale, offset float64
	code          bool
	raw           bool    // values go out as they stand in the column, bit for bit
	least, most   float64 // the codes there are
}

func inputKey(i int, key string) string { return fmt.Sprintf("inputs[%d].%s", i, key) }

func (s *settings) checkInputs() error {
	var faults []error
	seen := make(map[string]bool)
	for i := range s.Inputs {
		from := &s.Inputs[i]
		refuse := func(key, format string, values ...any) {
			faults = append(faults, fault(inputKey(i, key), fmt.Errorf(format, values...)))
		}
		switch {
		case from.Name == "":
			refuse("name", "missing, every input needs one")
		case seen[from.Name]:
			refuse("name", "%q is the name of an input before it, give another", from.Name)
		}
		seen[from.Name] = true
		from.check(refuse)
	}
	return errors.Join(faults...)
}

func (s *inputSettings) check(refuse func(key, format string, values ...any)) {
	if s.Scale != nil && *s.Scale == 0 {
		refuse("scale", "0 makes every value the same, leave it out or give another")
	}
	if s.Unit != "" && !slices.Contains(units, s.Unit) {
		refuse("unit", `%q is none of "code", "V", "A", "Cel" and "1"`, s.Unit)
	}
	if s.Unit != "code" {
		for _, c := range []struct {
			key   string
			given bool
		}{{"bits", s.Bits != nil}, {"signed", s.Signed != nil}, {"volts_per_code", s.VoltsPerCode != nil}, {"zero_code_volts", s.ZeroCodeVolts != nil}} {
			if c.given {
				refuse(c.key, `is for codes only, add unit: "code" or leave it out`)
			}
		}
		return
	}
	if most := s.mostBits(); s.Bits != nil && (*s.Bits < 2 || *s.Bits > most) {
		refuse("bits", "%d is not within 2 to %d", *s.Bits, most)
	}
	if s.VoltsPerCode != nil && *s.VoltsPerCode == 0 {
		refuse("volts_per_code", "0 is no size of a count, leave it out if it is not known")
	}
}

func (s *inputSettings) signed() bool { return s.Signed == nil || *s.Signed }

// mostBits is what a 32-bit code with a sign has room for.
func (s *inputSettings) mostBits() int {
	if s.signed() {
		return 32
	}
	return 31
}

// input makes an input of checked settings.
func (s *inputSettings) input(column int) input {
	in := input{Input: &plugin.Input{Name: s.Name, Unit: "1", Averaging: s.Averaging}, column: column, scale: 1, offset: s.Offset}
	if s.Unit != "" {
		in.Unit = s.Unit
	}
	if s.Scale != nil {
		in.scale = *s.Scale
	}
	if in.Unit != "code" {
		return in
	}
	in.code, in.least, in.most = true, math.MinInt32, math.MaxInt32
	if s.VoltsPerCode != nil {
		in.VoltsPerCode = *s.VoltsPerCode
	}
	if s.ZeroCodeVolts != nil {
		in.ZeroCodeVolts = *s.ZeroCodeVolts
	}
	if s.Bits != nil {
		in.setRange(*s.Bits, s.signed())
	}
	return in
}

func (in *input) setRange(bits int, signed bool) {
	in.least, in.most = 0, math.Ldexp(1, bits)-1
	if signed {
		in.least, in.most = -math.Ldexp(1, bits-1), math.Ldexp(1, bits-1)-1
	}
	in.MinimumCode, in.MaximumCode, in.CodeRangeKnown = int32(in.least), int32(in.most), true
}
