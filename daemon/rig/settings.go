package rig

import (
	"errors"
	"fmt"

	"github.com/ampledger/ampledger/daemon/pluginhost"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// settings are those of the package comment.
type settings struct {
	Mode      string          `json:"mode"`
	RateHertz *float64        `json:"rate_hertz"`
	Inputs    []inputSettings `json:"inputs"`
}

type inputSettings struct {
	Name          string   `json:"name"`
	Unit          string   `json:"unit"`
	MinimumCode   *int32   `json:"minimum_code"`
	MaximumCode   *int32   `json:"maximum_code"`
	VoltsPerCode  *float64 `json:"volts_per_code"`
	ZeroCodeVolts *float64 `json:"zero_code_volts"`
	Averaging     bool     `json:"averaging"`
}

const (
	live     = "live"
	lockstep = "lockstep"
)

func fault(key, format string, values ...any) error {
	return fmt.Errorf("setting %q: "+format, append([]any{key}, values...)...)
}

// read takes what stands under `with:` and gives the settings as far as they can be understood.
func read(with map[string]any) (settings, error) {
	s := settings{Mode: live}
	given, err := plugin.NewSettings(with)
	if err == nil {
		err = given.Decode(&s)
	}
	return s, err
}

// describe gives the description, or all faults that can be seen at once.
func (s *settings) describe() (*plugin.Description, error) {
	var faults []error
	if s.Mode != live && s.Mode != lockstep {
		faults = append(faults, fault("mode", "%q is neither live nor lockstep", s.Mode))
	}
	d := &plugin.Description{}
	if s.RateHertz != nil {
		d.NominalRateHertz = *s.RateHertz
		if !(*s.RateHertz > 0 && *s.RateHertz <= 1e9) {
			faults = append(faults, fault("rate_hertz", "%v is not above 0 and at most 1e9; leave it out if it is not known", *s.RateHertz))
		}
	}
	if len(s.Inputs) == 0 {
		faults = append(faults, fault("inputs", "missing, name the columns of a frame"))
	}
	for i := range s.Inputs {
		faults = append(faults, s.Inputs[i].check(fmt.Sprintf("inputs[%d].", i)))
		d.Inputs = append(d.Inputs, s.Inputs[i].input())
	}
	if err := errors.Join(faults...); err != nil {
		return nil, err
	}
	return d, pluginhost.CheckDescription(d)
}

func (s *inputSettings) check(at string) error {
	switch {
	case s.Unit != "code":
		return s.checkNoCode(at)
	case (s.MinimumCode == nil) != (s.MaximumCode == nil):
		return fault(at+"minimum_code", "is given without maximum_code, or the reverse: give both or neither")
	case s.VoltsPerCode != nil && *s.VoltsPerCode == 0:
		return fault(at+"volts_per_code", "0 is no size of a count, leave it out if it is not known")
	}
	return nil
}

// checkNoCode refuses what only makes sense for codes.
func (s *inputSettings) checkNoCode(at string) error {
	var faults []error
	for _, of := range []struct {
		key   string
		given bool
	}{
		{"minimum_code", s.MinimumCode != nil}, {"maximum_code", s.MaximumCode != nil},
		{"volts_per_code", s.VoltsPerCode != nil}, {"zero_code_volts", s.ZeroCodeVolts != nil},
	} {
		if of.given {
			faults = append(faults, fault(at+of.key, `is for codes only, add unit: "code" or leave it out`))
		}
	}
	return errors.Join(faults...)
}

func (s *inputSettings) input() *plugin.Input {
	in := &plugin.Input{Name: s.Name, Unit: s.Unit, Averaging: s.Averaging}
	if in.Unit == "" {
		in.Unit = "1"
	}
	if s.MinimumCode != nil && s.MaximumCode != nil {
		in.MinimumCode, in.MaximumCode, in.CodeRangeKnown = *s.MinimumCode, *s.MaximumCode, true
	}
	if s.VoltsPerCode != nil {
		in.VoltsPerCode = *s.VoltsPerCode
	}
	if s.ZeroCodeVolts != nil {
		in.ZeroCodeVolts = *s.ZeroCodeVolts
	}
	return in
}
