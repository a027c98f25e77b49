package score

import (
	"math"
	"strings"

	"github.com/ampledger/ampledger/daemon/config"
	"github.com/ampledger/ampledger/plugins/driver/simulate/physics"
)

// smallestZero stands for an error that a sensor does not have, in amperes, where the filter wants one above 0.
const smallestZero = 1e-6

// oracle gives biasfilter with settings that follow from the simulation instead of a data sheet: each of them is the size of what really is
// there. It is not told the errors themselves. nil = the conductor's estimator is another one.
func (s *Seeded) oracle() *config.Estimator {
	own := s.plan.scored.Estimator
	if own == nil || own.Plugin.Name != "biasfilter" {
		return nil
	}
	channels := map[string]any{}
	for _, ch := range s.plan.scored.Channels {
		if told := tell(s.rigs[ch.Device], s.withOf(ch.Device), ch); told != nil {
			channels[ch.Name] = told
		}
	}
	with := map[string]any{"channels": channels}
	for key, value := range own.With {
		if key != "channels" {
			with[key] = value // the current of a rest, the gate and the like are no property of a sensor
		}
	}
	return &config.Estimator{Plugin: own.Plugin, With: with}
}

// tell gives what stands under a channel's name, of a rig and the settings it was made of; nil = it is none of the rig's sensors.
func tell(rig *physics.Rig, with map[string]any, ch config.Channel) map[string]any {
	sensor, _ := strings.CutSuffix(ch.Input, "_code")
	switch {
	case sensor == "shunt" && rig.Shunt != nil:
		of := rig.Shunt
		told := errorsOf(&of.Errors, of.VoltsPerCode/(of.Ohms*of.Gain))
		told["zero_drift_amperes_per_kelvin"] = 0
		return told
	case sensor == "magnetic" && rig.Magnetic != nil:
		of := rig.Magnetic
		told := errorsOf(&of.Errors, of.VoltsPerCode/of.VoltsPerAmpere)
		told["zero_drift_amperes_per_kelvin"] = math.Abs(of.OffsetAmperesPerKelvin)
		told["reference_celsius"] = of.ReferenceCelsius
		told["hysteresis_amperes"] = remanence(of.Hysteresis, drawnApart(with))
		return told
	}
	return nil
}

// errorsOf tells what all sensors have; step is that of the converter in amperes. Noise of half a step or more lets rounding average away;
// with less, the error of a rest keeps it.
func errorsOf(e *physics.Errors, step float64) map[string]any {
	rounding := math.Abs(step) / math.Sqrt(12)
	floor := rounding
	if e.NoiseAmperes >= math.Abs(step)/2 {
		floor = smallestZero
	}
	return map[string]any{
		"zero_error_amperes":              max(math.Abs(e.OffsetAmperes), smallestZero),
		"zero_walk_amperes_per_root_hour": e.WalkAmperesPerRootHour,
		"gain_error_ratio":                math.Abs(e.GainErrorRatio),
		"noise_amperes":                   math.Hypot(e.NoiseAmperes, rounding),
		"floor_amperes":                   floor,
	}
}

// remanence is the size of the offset an excursion to full scale leaves. Where the weights of operators are drawn one by one, their squares add up.
func remanence(h physics.Hysteresis, apart bool) (amperes float64) {
	switch of := h.(type) {
	case physics.Play:
		square := 0.0
		for _, o := range of {
			amperes -= o.WeightAmperes
			square += o.WeightAmperes * o.WeightAmperes
		}
		if apart {
			return math.Sqrt(square)
		}
	case physics.Material:
		amperes = of.Remanence()
	}
	return math.Abs(amperes)
}
