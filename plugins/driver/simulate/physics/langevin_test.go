package physics

import (
	"math"
	"math/big"
	"testing"
)

// slowExp sums the series of exp in 300 bits.
func slowExp(x float64) *big.Float {
	sum, term := big.NewFloat(1).SetPrec(300), big.NewFloat(1).SetPrec(300)
	for i := 1; i < 400; i++ {
		term.Mul(term, big.NewFloat(x))
		term.Quo(term, big.NewFloat(float64(i)))
		sum.Add(sum, term)
	}
	return sum
}

// slowLangevin is coth x − 1/x to far more digits than a float64 has.
func slowLangevin(x float64) float64 {
	up, down := slowExp(x), slowExp(-x)
	coth := new(big.Float).Quo(new(big.Float).Add(up, down), new(big.Float).Sub(up, down))
	value, _ := coth.Sub(coth, new(big.Float).SetPrec(300).Quo(big.NewFloat(1).SetPrec(300), big.NewFloat(x))).Float64()
	return value
}

func TestLangevin(t *testing.T) {
	for _, x := range []float64{1e-9, 1e-3, 0.1, 0.2999, 0.3001, 0.7, 1, 3, 10, 40} {
		for _, sign := range []float64{1, -1} {
			got, slope := langevin(sign * x)
			if want := sign * slowLangevin(x); math.Abs(got-want) > 1e-12*math.Abs(want)+1e-15/x {
				t.Errorf("langevin(%v) = %v, want %v", sign*x, got, want)
			}
			h := 1e-3 * x
			if want := (slowLangevin(x+h) - slowLangevin(x-h)) / (2 * h); math.Abs(slope-want) > 1e-5*want {
				t.Errorf("slope at %v = %v, want %v", sign*x, slope, want)
			}
		}
	}
	for _, x := range []float64{0, 1e300, -1e300, math.Inf(1)} {
		if value, slope := langevin(x); math.Abs(value) > 1 || !(slope >= 0 && slope <= 1./3) {
			t.Errorf("langevin(%v) = %v, slope %v", x, value, slope)
		}
	}
}

func TestForgotten(t *testing.T) {
	for _, x := range []float64{0, 1e-12, 1e-3, 0.0199, 0.0201, 0.5, 1, 30, 1000} {
		if got, want := forgotten(x), -math.Expm1(-x); math.Abs(got-want) > 1e-11*want {
			t.Errorf("forgotten(%v) = %v, want %v", x, got, want)
		}
	}
}
