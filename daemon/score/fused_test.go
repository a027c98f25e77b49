package score_test

import (
	"math"
	"testing"
)

// The charge of a shunt, of a magnetic channel beside it, and of both fused: the fused one is covered, no less sure than the surer and no worse than the better of the two.
// Of the shunts one is good beside the magnetic channel, another has an offset as large as that, the third is better than both and saturates at 13 A.
func TestFusedDuty(t *testing.T) {
	packs, sensors := extent(1)
	for name, shunt := range map[string]scenario{
		"a good shunt": {shunt: shuntSensor, channels: []string{shuntChannel}, with: shuntSheet},
		"a poor shunt": {
			shunt: `shunt: {resistance_ohms: 0.0001, gain: 50, bits: 16, volts_per_code: 0.0001, noise_amperes: 0.06, offset_amperes: 0.5,
        walk_amperes_per_root_hour: 0.1, gain_error_ratio: 0.001}`,
			channels: []string{`{name: shunt, device: rig, input: shunt_code, noise_amperes: 0.06, zero_uncertainty_amperes: 0.5, gain_uncertainty_ratio: 0.001,
       shunt: {resistance_ohms: 0.0001, gain: 50, rated_amperes: 500}}`},
			with: `shunt: {zero_walk_amperes_per_root_hour: 0.1, zero_drift_amperes_per_kelvin: 0}`,
		},
		"a fine shunt of short range": {
			shunt: `shunt: {resistance_ohms: 0.005, gain: 50, bits: 16, volts_per_code: 0.0001, noise_amperes: 0.006, offset_amperes: 0.01,
        walk_amperes_per_root_hour: 0.001, gain_error_ratio: 0.0005}`,
			channels: []string{`{name: shunt, device: rig, input: shunt_code, noise_amperes: 0.006, zero_uncertainty_amperes: 0.01, gain_uncertainty_ratio: 0.0005,
       shunt: {resistance_ohms: 0.005, gain: 50, rated_amperes: 12}}`},
			with: `shunt: {zero_walk_amperes_per_root_hour: 0.001, zero_drift_amperes_per_kelvin: 0}`,
		},
	} {
		s := magneticAlone(aDay)
		s.shunt, s.channels, s.more = shunt.shunt, append(shunt.channels, s.channels...), "charge_from: fused"
		s.with = "channels: {" + shunt.with + ", " + magneticSheet + "}"
		all := tried(t, s, packs, sensors)
		fused, one, other := all["fused biasfilter"], all["shunt biasfilter"], all["magnetic biasfilter"]
		t.Logf("%s: fused %v; shunt %v; magnetic %v", name, fused, one, other)
		if least := 0.95 - 2.6*math.Sqrt(0.95*0.05/float64(fused.runs)); fused.coverage() < least {
			t.Errorf("%s: %.1f %% covered, want %.1f %% at least", name, 100*fused.coverage(), 100*least)
		}
		if n := fused.nees(); *full && (n < 0.75 || n > 1.25) {
			t.Errorf("%s: NEES %.3f, want 0.75 to 1.25", name, n)
		}
		if surer := lesser(one.uncertainty(), other.uncertainty()); fused.uncertainty() > 1.05*surer {
			t.Errorf("%s: u %.0f C, the surer channel's is %.0f C", name, fused.uncertainty(), surer)
		}
		if better := lesser(one.rms(), other.rms()); *full && fused.rms() > 1.05*better { // of two runs a channel may be better by chance
			t.Errorf("%s: rms %.0f C, the better channel's is %.0f C", name, fused.rms(), better)
		}
	}
}

// lesser gives the lesser of two figures that are there: a channel that is saturated when the charge is taken has none.
func lesser(a, b float64) float64 {
	switch {
	case a == 0:
		return b
	case b == 0:
		return a
	}
	return min(a, b)
}
