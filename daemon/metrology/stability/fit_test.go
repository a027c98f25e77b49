package stability_test

import (
	"math"
	"testing"

	"github.com/ampledger/ampledger/daemon/metrology/stability"
)

// Where only white noise and a walk are, their densities lie within the stated limits in 95 % of the seeds, to within what chance does to some of
// them (a binomial of 200 and 0.95 is below 181 in 1 of 300, one of 100 below 91 in 1 of 35), and the mean of the figures is right. Few freedoms
// widen the walk's limits.
func TestDensitiesAreRecovered(t *testing.T) {
	for _, c := range []struct {
		name                string
		seeds               int
		count               int
		interval, n, k      float64
		biasOfN, biasOfK    float64
		resolved, fewestOfK float64
	}{
		{"white", 100, 1024, 1, 0.05, 0, 0.01, 0, 0, 0.95},
		{"a little walk", 200, 1024, 0.1, 0.05, 0.05, 0.01, 0.1, 0.9, 0.905},
		{"much walk", 100, 1024, 10, 2, 0.05, 0.02, 0.03, 1, 0.905},
	} {
		t.Run(c.name, func(t *testing.T) {
			seeds := float64(c.seeds)
			var insideN, insideK, resolved, sumN, sumK float64
			for seed := range uint64(c.seeds) {
				m := fitOf(t, stability.Evenly(c.interval, noisy(seed, c.count, c.n, c.k, c.interval)))
				insideN += inside(m.WhiteDensity, c.n)
				insideK += inside(m.WalkDensity, c.k)
				if m.WalkDensity.Resolved() {
					resolved++
				}
				sumN += m.WhiteDensity.Value
				sumK += m.WalkDensity.Value
			}
			if insideN < 0.905*seeds || insideK < c.fewestOfK*seeds {
				t.Errorf("N within its limits in %g of %g, K in %g", insideN, seeds, insideK)
			}
			if resolved < c.resolved*seeds || c.k == 0 && resolved > 0.05*seeds {
				t.Errorf("a walk seen in %g of %g", resolved, seeds)
			}
			near(t, "mean N", sumN/seeds, c.n, c.biasOfN)
			if c.k > 0 {
				near(t, "mean K", sumK/seeds, c.k, c.biasOfK)
			}
		})
	}
}

func inside(c stability.Coefficient, truth float64) float64 {
	if c.Lower <= truth && truth <= c.Upper {
		return 1
	}
	return 0
}

// Kasdin's filter on unit white noise gives a one-sided density of 1/(πf), which is B = 1 (uncertainty of the equivalence h₋₁ = B²/π: none).
func TestFlickerIsRecovered(t *testing.T) {
	m := fitOf(t, stability.Evenly(1, pink(4000)))
	if b := m.FlickerFloor; inside(b, 1) == 0 || !b.Resolved() || b.Upper > 1.4 {
		t.Errorf("B %+v, want 1", b)
	}
	if m.WalkDensity.Resolved() {
		t.Errorf("K %+v, want none", m.WalkDensity)
	}
}

func TestDriftIsRecovered(t *testing.T) {
	values := noisy(2, 2000, 0.1, 0, 2)
	for i := range values {
		values[i] += 1e-3 * 2 * float64(i)
	}
	m := fitOf(t, stability.Evenly(2, values))
	if inside(m.Drift, 1e-3) == 0 || !m.Drift.Resolved() || inside(m.WhiteDensity, 0.1) == 0 {
		t.Errorf("R %+v, want 1e-3; N %+v, want 0.1", m.Drift, m.WhiteDensity)
	}
}

// Segments say together what one of all their readings would say: no term crosses a gap, whatever the zero does in it.
func TestSegmentsAreCombined(t *testing.T) {
	inN, inK := 0.0, 0.0
	for seed := range uint64(40) {
		values := noisy(seed, 4000, 1, 0.05, 1)
		for i := range values[2000:] {
			values[2000+i] += 50
		}
		m := fitOf(t, stability.Evenly(1, values[:700], values[800:2000], values[2000:]))
		inN, inK = inN+inside(m.WhiteDensity, 1), inK+inside(m.WalkDensity, 0.05)
	}
	if inN < 34 || inK < 34 {
		t.Errorf("N within its limits in %g of 40, K in %g", inN, inK)
	}
}

func TestModelAddsItsParts(t *testing.T) {
	c := func(v float64) stability.Coefficient { return stability.Coefficient{Value: v} }
	m := stability.Model{WhiteDensity: c(2), FlickerFloor: c(3), WalkDensity: c(5), Drift: c(7)}
	white, flicker, walk, drift := m.Parts(4)
	near(t, "white", white, 1, 1e-15)                // N/√τ
	near(t, "flicker", flicker, 3*0.664283, 1e-6)    // 0.664283·B
	near(t, "walk", walk, 5*math.Sqrt(4.0/3), 1e-15) // K·√(τ/3)
	near(t, "drift", drift, 7*4/math.Sqrt2, 1e-15)   // R·τ/√2
	near(t, "all", m.DeviationAmperes(4), math.Sqrt(white*white+flicker*flicker+walk*walk+drift*drift), 1e-15)
}

func TestFitNeedsEnough(t *testing.T) {
	g := stability.Evenly(1, noisy(1, 63, 1, 0, 1), noisy(2, 60, 1, 0, 1))
	if _, err := stability.FitNoise(g, stability.Overlapping(g, stability.Octaves(g))); err == nil {
		t.Error("63 readings were fitted")
	}
	still := stability.Evenly(1, make([]float64, 100))
	if m := fitOf(t, still); *m != (stability.Model{}) {
		t.Errorf("no noise gives %+v", m)
	}
}

// The scale of the current scales every figure, and the unit of time that of the densities.
func TestFitHasItsUnits(t *testing.T) {
	a, b := noisy(4, 3000, 1, 0.1, 1), noisy(4, 3000, 1, 0.1, 1)
	for i := range b {
		b[i] *= 1e-6
	}
	one, small := fitOf(t, stability.Evenly(1, a)), fitOf(t, stability.Evenly(100, b))
	near(t, "N", small.WhiteDensity.Value, one.WhiteDensity.Value*1e-6*10, 1e-9)
	near(t, "K", small.WalkDensity.Value, one.WalkDensity.Value*1e-6/10, 1e-9)
	near(t, "upper K", small.WalkDensity.Upper, one.WalkDensity.Upper*1e-6/10, 1e-6)
	near(t, "u(N)", small.WhiteDensity.StandardUncertainty, one.WhiteDensity.StandardUncertainty*1e-6*10, 1e-6)
}
