package offset_test

import (
	"math"
	"slices"
	"testing"

	"github.com/ampledger/ampledger/daemon/offset"
	"github.com/ampledger/ampledger/daemon/scan"
)

const second = int64(1e9)

var (
	nan = math.NaN()
	inf = math.Inf(1)
)

// readings are of one scan a second, as a sensor gives them; NaN is missing.
func readings(sequence uint64, amperes ...float64) *scan.Readings {
	r := &scan.Readings{
		Clock:   scan.Clock{Sequence: sequence, Wall: 1e18 + int64(sequence)*second, Monotonic: int64(sequence) * second, Period: second},
		Amperes: amperes, NoiseAmperes: 0.5, ZeroAmperes: 5, RoundingAmperes: 3, GainRatio: 0.01, Estimate: scan.Estimate{Age: -1},
	}
	settle(r)
	return r
}

// settle fills what follows from the amperes.
func settle(r *scan.Readings) {
	r.Usable, r.Minimum, r.Maximum, r.Causes = 0, inf, -inf, 0
	for k, y := range r.Amperes {
		if y != y && r.Quality == nil {
			r.Quality = make([]scan.Quality, r.Len())
		}
		if y != y {
			r.Quality[k] |= scan.Missing
		}
		r.Causes |= r.QualityAt(k)
		if r.QualityAt(k) == 0 {
			r.Usable, r.Minimum, r.Maximum = r.Usable+1, min(r.Minimum, y), max(r.Maximum, y)
		}
	}
}

// cut copies the readings i … j−1.
func cut(r *scan.Readings, i, j int) *scan.Readings {
	part := *r
	part.Clock, part.Amperes = r.From(i, j), slices.Clone(r.Amperes[i:j])
	if r.Quality != nil {
		part.Quality = slices.Clone(r.Quality[i:j])
	}
	settle(&part)
	return &part
}

// estimate is 2 ± 4 A made at so many seconds, with a walk of 0.3 A/√s.
func estimate(seconds int64) offset.Estimate {
	return offset.Estimate{
		Amperes: 2, Uncertainty: 4, WalkPerRootSecond: 0.3, Estimator: "est", Generation: 1,
		Made: scan.Clock{Monotonic: seconds * second, Wall: 1e18 + seconds*second},
	}
}

// taken is a stage of summaries of 10 scans with that estimate, stale after 100 s.
func taken(t *testing.T, e offset.Estimate) *offset.Stage {
	t.Helper()
	s := offset.New(10, 100*second)
	if !s.Take(e) {
		t.Fatalf("%+v was refused", e)
	}
	return s
}

func near(t testing.TB, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.17g, want %.17g", what, got, want)
	}
}
