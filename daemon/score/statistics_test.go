package score

import (
	"math"
	"testing"
)

func within(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: %v, want %v", what, got, want)
	}
}

// TestClopperPearson: 682 of 925 is the example of binom.test in the manual of R (data of W. J. Conover, Practical Nonparametric Statistics,
// 1971, p. 97), which prints 0.7076683 to 0.7654066. Where none or all succeed, the limits have closed forms: 1 − (α/2)^(1/n) and (α/2)^(1/n).
func TestClopperPearson(t *testing.T) {
	lower, upper := ClopperPearson(682, 925)
	within(t, "lower of 682 in 925", lower, 0.7076683, 5e-8)
	within(t, "upper of 682 in 925", upper, 0.7654066, 5e-8)
	for _, n := range []int{1, 3, 10, 200, 100_000} {
		lower, upper = ClopperPearson(0, n)
		within(t, "lower of none", lower, 0, 0)
		within(t, "upper of none", upper, 1-math.Pow(0.025, 1/float64(n)), 1e-9)
		lower, upper = ClopperPearson(n, n)
		within(t, "lower of all", lower, math.Pow(0.025, 1/float64(n)), 1e-9)
		within(t, "upper of all", upper, 1, 0)
	}
}

// TestClopperPearsonHoldsItsDefinition: at the limits, k or more, or k or fewer, of n have a probability of 0.025, summed term by term.
func TestClopperPearsonHoldsItsDefinition(t *testing.T) {
	for _, c := range [][2]int{{1, 10}, {5, 10}, {19, 20}, {190, 200}} {
		k, n := c[0], c[1]
		lower, upper := ClopperPearson(k, n)
		within(t, "tail above", binomial(k, n, n, lower), 0.025, 1e-9)
		within(t, "tail below", binomial(0, k, n, upper), 0.025, 1e-9)
	}
}

// binomial is the probability of from to to successes in n trials.
func binomial(from, to, n int, p float64) (sum float64) {
	for k := from; k <= to; k++ {
		all, _ := math.Lgamma(float64(n + 1))
		hit, _ := math.Lgamma(float64(k + 1))
		missed, _ := math.Lgamma(float64(n - k + 1))
		sum += math.Exp(all - hit - missed + float64(k)*math.Log(p) + float64(n-k)*math.Log1p(-p))
	}
	return sum
}

// TestMeanSquareBand: critical values of χ² from the NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.4.
func TestMeanSquareBand(t *testing.T) {
	for n, want := range map[int][2]float64{1: {0.001, 5.024}, 10: {3.247, 20.483}, 100: {74.222, 129.561}} {
		lower, upper := MeanSquareBand(n)
		within(t, "lower", lower*float64(n), want[0], 6e-4)
		within(t, "upper", upper*float64(n), want[1], 6e-4)
	}
}

// TestTraceIsThinnedOut: whatever comes, at most so many points stay, evenly apart, the first among them.
func TestTraceIsThinnedOut(t *testing.T) {
	var of trace
	for k := range 5*mostPoints + 3 {
		of.add(Point{Seconds: float64(k)})
		if len(of.points) > mostPoints {
			t.Fatalf("%d points", len(of.points))
		}
	}
	for i, p := range of.points {
		if p.Seconds != float64(8*i) {
			t.Fatalf("point %d is of %g s", i, p.Seconds)
		}
	}
}

func TestRatioOfWhatIsStatedToBeExact(t *testing.T) {
	exact := Score{}
	off := Score{ErrorCoulombs: -1e-6}
	if exact.Ratio() != 0 || !exact.Covered() || !math.IsInf(off.Ratio(), -1) || off.Covered() {
		t.Errorf("exact: %v, %v; off: %v, %v", exact.Ratio(), exact.Covered(), off.Ratio(), off.Covered())
	}
}
