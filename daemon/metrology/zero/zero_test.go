package zero_test

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"github.com/ampledger/ampledger/daemon/metrology/stability"
	"github.com/ampledger/ampledger/daemon/metrology/zero"
	"github.com/ampledger/ampledger/daemon/referencetest"
)

var near = referencetest.Near

// rest makes a log of readings half a second apart.
func rest(amperes []float64) *stability.Log {
	l := &stability.Log{Amperes: amperes}
	for i := range amperes {
		l.Nanos = append(l.Nanos, int64(i)*500_000_000)
	}
	return l
}

func find(t *testing.T, amperes []float64) *zero.Zero {
	t.Helper()
	z, err := zero.Find(rest(amperes))
	if err != nil {
		t.Fatal(err)
	}
	return z
}

// ar1 draws a stationary autoregressive series of unit variance.
func ar1(r *rand.Rand, n int, phi float64) []float64 {
	x := make([]float64, n)
	x[0] = r.NormFloat64()
	for i := 1; i < n; i++ {
		x[i] = phi*x[i-1] + math.Sqrt(1-phi*phi)*r.NormFloat64()
	}
	return x
}

// meanVariance is the closed form for a mean of n values of a first-order autoregression of unit variance (Zhang, Metrologia 43 (2006) S276; the
// sum of (1 − k/n)·φᵏ).
func meanVariance(n int, phi float64) float64 {
	N := float64(n)
	return ((1+phi)/(1-phi) - 2*phi*(1-math.Pow(phi, N))/(N*(1-phi)*(1-phi))) / N
}

// Of many rests the stated variance of the mean is on average that of the closed form, and Student's 95 % interval holds the true zero in about 95 %: for
// readings that hang together (φ = 0.8) a plain s/√n is three times too small, and holds it in half of them.
func TestMeanOfAutocorrelatedReadings(t *testing.T) {
	const runs = 500
	for _, c := range []struct {
		n         int
		phi       float64
		low, high float64 // of the stated variance over the true one; what alternates by chance is not taken for more than it is, which makes it greater
		coverage  float64 // least
	}{{200, 0, 1, 1.15, 0.935}, {1000, 0.5, 0.95, 1.08, 0.925}, {2000, 0.8, 0.95, 1.08, 0.925}, {300, 0.8, 0.99, 1.15, 0.9}} {
		r := rand.New(rand.NewPCG(11, uint64(c.n)))
		sum, held, plain := 0.0, 0, 0
		for range runs {
			z := find(t, ar1(r, c.n, c.phi))
			sum += z.TypeAAmperes * z.TypeAAmperes
			k := distuv.StudentsT{Sigma: 1, Nu: z.DegreesOfFreedom}.Quantile(0.975)
			if math.Abs(z.MeanAmperes) <= k*z.StandardUncertaintyAmperes {
				held++
			}
			if math.Abs(z.MeanAmperes) <= 1.96*z.DeviationAmperes/math.Sqrt(float64(c.n)) {
				plain++
			}
		}
		if ratio := sum / runs / meanVariance(c.n, c.phi); !(ratio > c.low && ratio < c.high) {
			t.Errorf("n = %d, φ = %g: the variance of the mean is stated %.3f times what it is", c.n, c.phi, ratio)
		}
		if share := float64(held) / runs; share < c.coverage || share > 0.98 {
			t.Errorf("φ = %g: the interval holds the zero in %.1f %%", c.phi, 100*share)
		}
		if c.n == 2000 && plain > runs*6/10 {
			t.Errorf("s/√n holds it in %d of %d: the readings do not hang together as they should", plain, runs)
		}
	}
}

// n·(1 − φ)/(1 + φ) readings of a long autoregression count; an alternating series is worth no more than it has readings.
func TestEffectiveCount(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	near(t, "white", find(t, ar1(r, 20000, 0)).EffectiveCount, 20000, 0.1)
	near(t, "φ = 0.8", find(t, ar1(r, 20000, 0.8)).EffectiveCount, 20000/9.0, 0.15)
	if n := find(t, ar1(r, 1000, -0.8)).EffectiveCount; n != 1000 {
		t.Errorf("1000 alternating readings are worth %g", n)
	}
}

// A log coarser than its noise: the mean may be off by a part of the step, however many readings there are.
func TestRoundingStays(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	x := ar1(r, 2000, 0)
	for i := range x {
		x[i] = 0.01 * math.Round((0.3 + 0.2*x[i]))
		if i%40 == 0 {
			x[i] = 0.01 // so that there is a step to be seen
		}
	}
	z := find(t, x)
	near(t, "rounding", z.RoundingAmperes, 0.01/math.Sqrt(12), 1e-9)
	near(t, "uncertainty", z.StandardUncertaintyAmperes, math.Hypot(z.TypeAAmperes, z.RoundingAmperes), 1e-12)
	if fine := find(t, ar1(r, 2000, 0)); fine.RoundingAmperes != 0 {
		t.Errorf("noise over many steps leaves a rounding of %g A", fine.RoundingAmperes)
	}
}

func TestTemperatureOfARest(t *testing.T) {
	l := rest(ar1(rand.New(rand.NewPCG(1, 1)), 30, 0))
	for i := range 30 {
		l.Celsius = append(l.Celsius, 20+0.1*float64(i))
	}
	z, err := zero.Find(l)
	if err != nil || math.Abs(z.MeanCelsius-21.45) > 1e-9 || z.LowestCelsius != 20 || math.Abs(z.HighestCelsius-22.9) > 1e-9 || z.Seconds != 14.5 || z.Count != 30 {
		t.Errorf("%+v, %v", z, err)
	}
	if z := find(t, ar1(rand.New(rand.NewPCG(1, 1)), 30, 0)); !math.IsNaN(z.MeanCelsius) {
		t.Error("a temperature that nobody measured")
	}
}

func TestNoZero(t *testing.T) {
	for want, l := range map[string]*stability.Log{
		"19 readings are too few": rest(make([]float64, 19)),
		"fewer than 2":            rest(nil),
		"is not finite":           rest(append(make([]float64, 30), math.NaN())),
	} {
		if _, err := zero.Find(l); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("want %q, got %v", want, err)
		}
	}
	if z := find(t, make([]float64, 50)); !z.Verdict.Stable || z.StandardUncertaintyAmperes != 0 {
		t.Errorf("readings that are all 0: %+v", z)
	}
}
