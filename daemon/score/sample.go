package score

import (
	"maps"
	"math/rand/v2"
)

// The errors of a sensor that a seed draws: what the configuration states is their size, and each run has another sensor of that make.
var (
	sampledErrors     = []string{"offset_amperes", "gain_error_ratio", "gain_drift_per_year", "offset_amperes_per_kelvin", "offset_amperes_per_squared_kelvin"}
	sampledHysteresis = []string{"remanence_amperes", "scale_meters"}
)

// sampler draws errors. Each has a stream of chance of its own, so none changes another.
type sampler struct{ seed, stream uint64 }

// The streams begin where no stream of package physics is.
const firstStream = 1 << 40

// sample gives a simulated device's settings with its sensors' errors drawn anew, each normally distributed about 0 with its stated size
// as standard deviation; those of single play operators are independent of each other. What else they say is kept.
func sample(with map[string]any, seed uint64) map[string]any {
	s := sampler{seed, firstStream}
	with = maps.Clone(with)
	for _, name := range []string{"shunt", "magnetic"} {
		if sensor, is := with[name].(map[string]any); is {
			with[name] = s.sensor(sensor)
		}
		s.stream += 1000
	}
	return with
}

func (s sampler) sensor(of map[string]any) map[string]any {
	of = s.draw(of, sampledErrors...)
	hysteresis, is := of["hysteresis"].(map[string]any)
	if !is {
		return of
	}
	s.stream += 100
	hysteresis = s.draw(hysteresis, sampledHysteresis...)
	if operators, are := hysteresis["operators"].([]any); are {
		hysteresis["operators"] = s.operators(operators)
	}
	of["hysteresis"] = hysteresis
	return of
}

func (s sampler) operators(of []any) (all []any) {
	for i, each := range of {
		if operator, is := each.(map[string]any); is {
			each = sampler{s.seed, s.stream + 100 + uint64(i)}.draw(operator, "weight_amperes")
		}
		all = append(all, each)
	}
	return all
}

// draw gives settings with some of their figures drawn.
func (s sampler) draw(of map[string]any, keys ...string) map[string]any {
	of = maps.Clone(of)
	for i, key := range keys {
		if size, is := number(of[key]); is {
			of[key] = size * rand.New(rand.NewPCG(s.seed, s.stream+uint64(i))).NormFloat64()
		}
	}
	return of
}

// drawnApart tells whether the hysteresis is given by operators, whose weights are drawn one by one.
func drawnApart(with map[string]any) bool {
	sensor, _ := with["magnetic"].(map[string]any)
	hysteresis, _ := sensor["hysteresis"].(map[string]any)
	operators, _ := hysteresis["operators"].([]any)
	return len(operators) > 0
}

// number gives a figure as YAML or a test may write it.
func number(v any) (value float64, is bool) {
	switch of := v.(type) {
	case float64:
		return of, true
	case int:
		return float64(of), true
	case int64:
		return float64(of), true
	case uint64:
		return float64(of), true
	}
	return 0, false
}
