package rig

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// inputs writes inputs down as a configuration has them.
func inputs(of ...map[string]any) []any {
	var all []any
	for _, one := range of {
		all = append(all, one)
	}
	return all
}

func TestSettingsThatAreRefused(t *testing.T) {
	a := map[string]any{"name": "a"}
	for name, of := range map[string]struct {
		with map[string]any
		want []string // each stands in the error
	}{
		"nothing":         {nil, []string{`setting "inputs": missing`}},
		"unknown key":     {map[string]any{"input": inputs(a)}, []string{`unknown setting "input"`}},
		"no such mode":    {map[string]any{"mode": "dead", "inputs": inputs(a)}, []string{`"mode": "dead" is neither live nor lockstep`}},
		"rate of nothing": {map[string]any{"rate_hertz": 0.0, "inputs": inputs(a)}, []string{`"rate_hertz": 0 is not above 0`}},
		"no name":         {map[string]any{"inputs": inputs(map[string]any{"unit": "A"})}, []string{"input 0 without a name"}},
		"a name twice":    {map[string]any{"inputs": inputs(a, a)}, []string{`two inputs named "a"`}},
		"no such unit":    {map[string]any{"inputs": inputs(map[string]any{"name": "a", "unit": "mV"})}, []string{`input "a": unit "mV" is none of`}},
		"half a range": {
			map[string]any{"inputs": inputs(map[string]any{"name": "a", "unit": "code", "minimum_code": -8.0})},
			[]string{`"inputs[0].minimum_code": is given without maximum_code`},
		},
		"empty range": {
			map[string]any{"inputs": inputs(map[string]any{"name": "a", "unit": "code", "minimum_code": 8.0, "maximum_code": 8.0})},
			[]string{`input "a": code range 8…8 is empty`},
		},
		"a count of nothing": {
			map[string]any{"inputs": inputs(map[string]any{"name": "a", "unit": "code", "volts_per_code": 0.0})}, []string{`"inputs[0].volts_per_code": 0 is no size`},
		},
		"several": {
			map[string]any{"mode": "", "inputs": inputs(a, map[string]any{"name": "b", "volts_per_code": 1.0, "maximum_code": 3.0})},
			[]string{`"mode": ""`, `"inputs[1].volts_per_code": is for codes only`, `"inputs[1].maximum_code": is for codes only`},
		},
	} {
		t.Run(name, func(t *testing.T) {
			s := New("bench", of.with)
			_, err := s.Describe()
			for _, text := range of.want {
				if err == nil || !strings.Contains(err.Error(), text) {
					t.Errorf("%v, which does not say %q", err, text)
				}
			}
			if _, err := s.Attach(t.Context(), Session{"alpha", "one"}); err == nil || !strings.Contains(err.Error(), of.want[0]) {
				t.Errorf("a rig is told %v", err)
			}
		})
	}
}

func TestSettings(t *testing.T) {
	s := New("bench", map[string]any{
		"mode": "lockstep", "rate_hertz": 1000.0, "inputs": inputs(
			map[string]any{"name": "a", "unit": "code", "minimum_code": -8.0, "maximum_code": 7.0, "volts_per_code": 0.5, "zero_code_volts": 2.5, "averaging": true},
			map[string]any{"name": "b", "unit": "Cel"}, map[string]any{"name": "c"}),
	})
	got, err := s.Describe()
	want := &plugin.Description{NominalRateHertz: 1000, Inputs: []*plugin.Input{
		{Name: "a", Unit: "code", MinimumCode: -8, MaximumCode: 7, CodeRangeKnown: true, VoltsPerCode: 0.5, ZeroCodeVolts: 2.5, Averaging: true},
		{Name: "b", Unit: "Cel"}, {Name: "c", Unit: "1"},
	}}
	if diff := cmp.Diff(want, got, protocmp.Transform()); diff != "" || err != nil || !s.Lockstep() || s.Device() != "bench" {
		t.Errorf("%v %v", err, diff)
	}
	if New("bench", map[string]any{"inputs": inputs(map[string]any{"name": "a"})}).Lockstep() {
		t.Error("lockstep without being told")
	}
}
