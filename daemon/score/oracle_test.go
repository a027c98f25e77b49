package score

import (
	"math"
	"reflect"
	"testing"

	"github.com/ampledger/ampledger/daemon/config"
	"github.com/ampledger/ampledger/plugins/driver/simulate/physics"
)

// TestOracleIsToldWhatIsThere: a step of 0.1 A of the shunt against noise of 0.01 A, which does not average the rounding away, and one of
// 0.1 A against 0.4 A of the magnetic channel, which does.
func TestOracleIsToldWhatIsThere(t *testing.T) {
	rig := &physics.Rig{
		Shunt: &physics.Shunt{Ohms: 1e-4, Gain: 50, Converter: physics.Converter{VoltsPerCode: 5e-4}, Errors: physics.Errors{NoiseAmperes: 0.01, GainErrorRatio: -2e-3}},
		Magnetic: &physics.Magnetic{
			VoltsPerAmpere: 0.004, Converter: physics.Converter{VoltsPerCode: 4e-4}, OffsetAmperesPerKelvin: -0.03, ReferenceCelsius: 21, Hysteresis: physics.Remanent(-0.5, 300),
			Errors: physics.Errors{NoiseAmperes: 0.4, OffsetAmperes: -1.5, WalkAmperesPerRootHour: 0.2},
		},
	}
	step := 5e-4 / (1e-4 * 50)
	rounding := step / math.Sqrt(12)
	for input, want := range map[string]map[string]any{
		"shunt_code": {
			"zero_error_amperes": smallestZero, "zero_walk_amperes_per_root_hour": 0.0, "gain_error_ratio": 2e-3, "noise_amperes": math.Hypot(0.01, rounding),
			"floor_amperes": rounding, "zero_drift_amperes_per_kelvin": 0,
		},
		"magnetic_code": {
			"zero_error_amperes": 1.5, "zero_walk_amperes_per_root_hour": 0.2, "gain_error_ratio": 0.0, "noise_amperes": math.Hypot(0.4, 4e-4/0.004/math.Sqrt(12)),
			"floor_amperes": smallestZero, "zero_drift_amperes_per_kelvin": 0.03, "reference_celsius": 21.0, "hysteresis_amperes": 0.5,
		},
		"true_amperes": nil,
	} {
		if got := tell(rig, nil, config.Channel{Input: input}); !reflect.DeepEqual(got, want) {
			t.Errorf("%s: %v, want %v", input, got, want)
		}
	}
	material, err := physics.Default(300, 0.1).WithCoerciveShare(0.01)
	if err == nil {
		material, err = material.WithRemanence(0.7)
	}
	if got := remanence(material, false); err != nil || math.Abs(got-0.7) > 1e-6 {
		t.Errorf("remanence %v, %v", got, err)
	}
	weights := physics.Play{{HalfWidthAmperes: 1, WeightAmperes: 3}, {HalfWidthAmperes: 2, WeightAmperes: -4}}
	if got := remanence(weights, true); got != 5 {
		t.Errorf("remanence of weights that are drawn apart: %v, want 5", got)
	}
}
