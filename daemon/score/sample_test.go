package score

import (
	"maps"
	"math"
	"reflect"
	"testing"
)

// stated is a device with an error of each kind.
func stated() map[string]any {
	return map[string]any{
		"seed": 7, "rate_hertz": 10,
		"shunt": map[string]any{"offset_amperes": 2, "gain_error_ratio": uint64(3), "noise_amperes": 0.1, "gain_drift_per_year": int64(1)},
		"magnetic": map[string]any{
			"offset_amperes": 2.0, "offset_amperes_per_kelvin": 0.5, "walk_amperes_per_root_hour": 0.1,
			"hysteresis": map[string]any{"model": "play", "operators": []any{
				map[string]any{"half_width_amperes": 10, "weight_amperes": 0.5}, map[string]any{"half_width_amperes": 20, "weight_amperes": 0.5},
			}},
		},
	}
}

// figures are those that are drawn, in units of their sizes.
func figures(with map[string]any) map[string]float64 {
	shunt, magnetic := with["shunt"].(map[string]any), with["magnetic"].(map[string]any)
	operators := magnetic["hysteresis"].(map[string]any)["operators"].([]any)
	return map[string]float64{
		"shunt offset": shunt["offset_amperes"].(float64) / 2, "shunt gain": shunt["gain_error_ratio"].(float64) / 3,
		"shunt gain drift": shunt["gain_drift_per_year"].(float64), "magnetic offset": magnetic["offset_amperes"].(float64) / 2,
		"magnetic drift": magnetic["offset_amperes_per_kelvin"].(float64) / 0.5,
		"weight 1":       operators[0].(map[string]any)["weight_amperes"].(float64) / 0.5,
		"weight 2":       operators[1].(map[string]any)["weight_amperes"].(float64) / 0.5,
	}
}

// Over many seeds each error has the stated size and mean 0, and none has anything to do with another.
func TestSampledErrors(t *testing.T) {
	const seeds = 4000
	sums := map[[2]string]float64{}
	for seed := range uint64(seeds) {
		drawn := figures(sample(stated(), seed))
		for a, x := range drawn {
			sums[[2]string{a, ""}] += x
			for b, y := range drawn {
				sums[[2]string{a, b}] += x * y
			}
		}
	}
	for of, sum := range sums {
		mean, want := sum/seeds, 0.0
		if of[0] == of[1] {
			want = 1
		}
		if math.Abs(mean-want) > 4*math.Sqrt((1+want)/seeds) {
			t.Errorf("%v: mean %v, want %v", of, mean, want)
		}
	}
}

// The same seed draws the same, what is no error stays, and the configuration is left alone.
func TestSampleKeepsTheRest(t *testing.T) {
	of := stated()
	once, again := sample(of, 3), sample(of, 3)
	if !reflect.DeepEqual(once, again) || reflect.DeepEqual(figures(once), figures(sample(of, 4))) {
		t.Error("a seed does not draw its own")
	}
	if !reflect.DeepEqual(of, stated()) {
		t.Errorf("the configuration is now %v", of)
	}
	shunt := once["shunt"].(map[string]any)
	if shunt["noise_amperes"] != 0.1 || once["rate_hertz"] != 10 || once["magnetic"].(map[string]any)["walk_amperes_per_root_hour"] != 0.1 {
		t.Errorf("drawn: %v", once)
	}
	alone := maps.Clone(of)
	delete(alone, "magnetic")
	if !reflect.DeepEqual(sample(alone, 3)["shunt"], shunt) {
		t.Error("without the magnetic channel the shunt is another")
	}
}

func TestDrawnApart(t *testing.T) {
	if !drawnApart(stated()) || drawnApart(nil) || drawnApart(map[string]any{"magnetic": map[string]any{"hysteresis": map[string]any{"remanence_amperes": 1}}}) {
		t.Error("only operators are drawn apart")
	}
}
