package physics

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// withinChiSquared holds a sum of squares of independent standard normal figures against the middle 99.9 % of its law.
func withinChiSquared(t *testing.T, name string, sum, n float64) {
	t.Helper()
	law := distuv.ChiSquared{K: n}
	if low, high := law.Quantile(0.0005), law.Quantile(0.9995); !(low <= sum && sum <= high) {
		t.Errorf("%s: %v squared standard deviations over %v samples, want %v to %v", name, sum, n, low, high)
	}
}

func TestVarianceOfTheWalkGrowsWithTime(t *testing.T) {
	const density, seeds = 0.3, 400
	for _, step := range []float64{0.1, 1, 60} {
		atHour, atFourHours, between := 0.0, 0.0, 0.0
		for seed := range uint64(seeds) {
			w := NewWalk(density, step, stream(seed, magneticWalkStream))
			if w.Value() != 0 {
				t.Fatal("the walk does not begin at zero")
			}
			for range int(3600 / step) {
				w.Next()
			}
			first := w.Value()
			for range int(3 * 3600 / step) {
				w.Next()
			}
			atHour += first * first / (density * density)
			atFourHours += w.Value() * w.Value() / (4 * density * density)
			between += (w.Value() - first) * (w.Value() - first) / (3 * density * density)
		}
		withinChiSquared(t, "after an hour", atHour, seeds)
		withinChiSquared(t, "after four", atFourHours, seeds)
		withinChiSquared(t, "between the two", between, seeds)
	}
}

func TestWanderIsSteadyAndForgets(t *testing.T) {
	const deviation, correlation, seeds = 0.02, 100., 2000
	for _, step := range []float64{1, 50} {
		start, end, both := 0.0, 0.0, 0.0
		for seed := range uint64(seeds) {
			w := NewWander(deviation, correlation, step, stream(seed, supplyDriftStream))
			first := w.Value() / deviation
			for range int(correlation / step) {
				w.Next()
			}
			last := w.Value() / deviation
			start, end, both = start+first*first, end+last*last, both+first*last
		}
		withinChiSquared(t, "at the start", start, seeds)
		withinChiSquared(t, "after the correlation", end, seeds)
		if got := both / seeds; math.Abs(got-math.Exp(-1)) > 4/math.Sqrt(seeds) {
			t.Errorf("correlation %v over its time in steps of %v s, want 1/e", got, step)
		}
	}
}
