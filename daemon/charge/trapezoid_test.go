package charge_test

import (
	"math"
	"testing"

	"github.com/ampledger/ampledger/daemon/charge"
)

// The composite trapezoid rule on three functions whose integral and error are worked out in textbooks (error bound (b-a)·h²/12·max|f"|:
// Abramowitz and Stegun 25.4, DLMF 3.5(i)); the sums were computed with 40 digits. One unit of the abscissa is a hundred thousand
// seconds, so that whole microcoulombs show eleven digits.
func TestTrapezoidOfKnownFunctions(t *testing.T) {
	sine, square := math.Sin, func(x float64) float64 { return x * x }
	decay := func(x float64) float64 { return math.Exp(-x) }
	for _, test := range []struct {
		name  string
		f     func(float64) float64
		to    float64
		n     int
		want  float64
		bound float64 // of the error of the rule
		exact float64
	}{
		{"sin", sine, math.Pi, 2, 1.5707963268, 0.64596410, 2},
		{"sin", sine, math.Pi, 4, 1.8961188979, 0.16149102, 2},
		{"sin", sine, math.Pi, 8, 1.9742316019, 0.040372756, 2},
		{"sin", sine, math.Pi, 10, 1.9835235375, 0.025838564, 2},
		{"sin", sine, math.Pi, 100, 1.9998355039, 2.5838564e-4, 2},
		{"sin", sine, math.Pi, 1000, 1.9999983551, 2.5838564e-6, 2},
		{"x²", square, 1, 1, 0.5, 1. / 6, 1. / 3},
		{"x²", square, 1, 4, 0.34375, 0.0104166667, 1. / 3},
		{"x²", square, 1, 10, 0.335, 0.00166666667, 1. / 3},
		{"exp(-x)", decay, 1, 1, 0.683939720586, 0.0833333333, 0.632120558829},
		{"exp(-x)", decay, 1, 4, 0.635409429028, 0.00520833333, 0.632120558829},
		{"exp(-x)", decay, 1, 10, 0.632647238187, 0.000833333333, 0.632120558829},
	} {
		got := integrate(t, test.f, test.to, test.n)
		if math.Abs(got-test.want) > 2e-10 {
			t.Errorf("%s, %d intervals: %.12f, want %.12f", test.name, test.n, got, test.want)
		}
		if math.Abs(got-test.exact) > test.bound*(1+1e-7) {
			t.Errorf("%s, %d intervals: off by %g, bound %g", test.name, test.n, got-test.exact, test.bound)
		}
	}
}

// integrate samples f at n+1 instants.
func integrate(t *testing.T, f func(float64) float64, to float64, n int) float64 {
	const unit = 1e5 // seconds
	period := int64(math.Round(to / float64(n) * unit * 1e9))
	amperes := make([]float64, n+1)
	for k := range amperes {
		amperes[k] = f(to * float64(k) / float64(n))
	}
	account := count(t, charge.Config{BoundAmperes: 1, SaturatedBoundAmperes: 1}, regular(0, period, amperes...))
	return float64(account.Totals().Net()) / 1e6 / unit
}

// A sine of frequency f sampled at fs integrates to x·cot(x) of its charge, x = πf/fs: exact for each half wave, whatever the rate.
func TestTrapezoidGainForASine(t *testing.T) {
	for _, test := range []struct{ ratio, want float64 }{
		{0.001, 0.99999671}, {0.01, 0.99967099}, {0.05, 0.99176177}, {0.1, 0.96688280}, {0.25, 0.78539816}, {0.5, 0},
	} {
		n := int(math.Round(1 / test.ratio / 2)) // intervals in half a period, of charge 2
		if got := integrate(t, math.Sin, math.Pi, n) / 2; math.Abs(got-test.want) > 1e-8 {
			t.Errorf("f/fs = %v: %.8f, want %.8f", test.ratio, got, test.want)
		}
	}
}
