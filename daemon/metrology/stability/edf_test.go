package stability_test

import (
	"math"
	"testing"

	"github.com/ampledger/ampledger/daemon/metrology/stability"
)

// NIST SP 1065, table of approximations, worked by hand for the thousand-point set (1001 phase points) at factor 10, and its ends: one
// term only has one degree of freedom.
func TestEDF(t *testing.T) {
	near(t, "white", stability.EDF(stability.White, 1001, 10), (150-2*999/1001.0)*400/405, 1e-14) // 146.177
	near(t, "flicker", stability.EDF(stability.Flicker, 1001, 10), 5*1001*1001/(40*1031.0), 1e-14)
	near(t, "flicker, 1", stability.EDF(stability.Flicker, 1001, 1), 2*999*999/(2302.3-4.9), 1e-14)
	near(t, "walk", stability.EDF(stability.RandomWalk, 1001, 10), 99.9*(1e6-30000+400)/(998*998), 1e-14)
	near(t, "violet", stability.EDF(stability.Violet, 1001, 10), 1002*981/(2*991.0), 1e-14)
	near(t, "blue", stability.EDF(stability.Blue, 1001, 10), math.Exp(math.Sqrt(math.Log(50)*math.Log(21*250))), 1e-14)
	for noise := stability.RandomWalk; noise <= stability.Violet; noise++ {
		if got := stability.EDF(noise, 1001, 500); got < 1 || got > 1.35 {
			t.Errorf("%v at the longest time: %g", noise, got)
		}
		if got := stability.EDF(noise, 3, 1); !(got >= 1 && got < 3) {
			t.Errorf("%v, the shortest log: %g", noise, got)
		}
	}
}

// Limits of the thousand-point set, probability 0.683, as the program of SP 1065's author prints them (octave run on the set's phase, published with the
// tests of a public frequency-stability library). It takes the degrees of freedom from Greenhall and Riley's exact sums, which SP 1065's table
// approximates: hence 3 %.
func TestLimitsOfNISTSet(t *testing.T) {
	published := []struct {
		m                     int
		least, sigma, highest float64
	}{
		{1, 2.8515e-01, 2.9223e-01, 2.9987e-01}, {2, 1.9520e-01, 2.0102e-01, 2.0738e-01}, {4, 1.3931e-01, 1.4479e-01, 1.5098e-01},
		{8, 1.0038e-01, 1.0570e-01, 1.1198e-01}, {16, 5.7696e-02, 6.1915e-02, 6.7217e-02}, {32, 4.3654e-02, 4.8082e-02, 5.4202e-02},
		{64, 3.1755e-02, 3.6237e-02, 4.3377e-02}, {128, 2.3045e-02, 2.7674e-02, 3.7027e-02},
	}
	g := stability.Evenly(1, nist1000())
	for i, p := range stability.Overlapping(g, stability.Octaves(g))[:len(published)] {
		want := published[i]
		low, high := p.Limits(0.683)
		near(t, "deviation", p.DeviationAmperes, want.sigma, 5e-5)
		near(t, "lower limit", low, want.least, 0.03)
		near(t, "upper limit", high, want.highest, 0.03)
		if p.Noise != stability.White {
			t.Errorf("m=%d: taken for %v noise", p.Factor, p.Noise)
		}
	}
}

// With 100 degrees of freedom the 95 % limits of a variance are 100/129.561197 and 100/74.221927 of it (tables of χ²).
func TestLimitsAreThoseOfChiSquare(t *testing.T) {
	p := stability.Point{DeviationAmperes: 2, EDF: 100}
	low, high := p.Limits(0.95)
	near(t, "lower", low, 2*math.Sqrt(100/129.561197), 1e-8)
	near(t, "upper", high, 2*math.Sqrt(100/74.221927), 1e-8)
	if low, high := (stability.Point{DeviationAmperes: 2}).Limits(0.95); low != 0 || !math.IsInf(high, 1) {
		t.Errorf("without degrees of freedom: %g to %g", low, high)
	}
}

func TestNoiseIsToldApart(t *testing.T) {
	r := noisy(3, 4001, 1, 0, 1)
	violet, walk, flicker := make([]float64, 4000), make([]float64, 4000), pink(4000)
	sum := 0.0
	for i := range violet {
		violet[i] = r[i+1] - r[i]
		sum += r[i]
		walk[i] = sum
	}
	for want, values := range map[stability.Noise][]float64{
		stability.White: r[:4000], stability.Violet: violet, stability.RandomWalk: walk, stability.Flicker: flicker,
	} {
		for _, p := range stability.Overlapping(stability.Evenly(1, values), []int{1, 8}) {
			if p.Noise != want && !(want == stability.Violet && p.Factor > 1) { // averaged, what remains is at the ends of the averages
				t.Errorf("%v noise at m=%d taken for %v", want, p.Factor, p.Noise)
			}
		}
	}
}

// pink is flicker noise by Kasdin's filter (Proc. IEEE 83 (1995) 802): white noise through (1 − z⁻¹)^−½.
func pink(n int) []float64 {
	const memory = 4000
	white := noisy(5, n+memory, 1, 0, 1)
	h := make([]float64, memory)
	h[0] = 1
	for k := 1; k < memory; k++ {
		h[k] = h[k-1] * (float64(k) - 0.5) / float64(k)
	}
	values := make([]float64, n)
	for i := range values {
		for k, v := range h {
			values[i] += v * white[i+memory-1-k]
		}
	}
	return values
}
