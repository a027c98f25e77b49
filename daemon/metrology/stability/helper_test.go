package stability_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/ampledger/ampledger/daemon/metrology/stability"
	"github.com/ampledger/ampledger/daemon/referencetest"
)

var near = referencetest.Near

// noisy simulates readings an interval apart: white noise of density n and a random walk of density k.
func noisy(seed uint64, count int, n, k, interval float64) []float64 {
	r := rand.New(rand.NewPCG(seed, 1))
	values, walk := make([]float64, count), 0.0
	for i := range values {
		walk += k * math.Sqrt(interval) * r.NormFloat64()
		values[i] = walk + n/math.Sqrt(interval)*r.NormFloat64()
	}
	return values
}

// nist1000 is the thousand-point set of SP 1065 section 12.4: a congruential generator's numbers.
func nist1000() []float64 {
	values, n := make([]float64, 1000), 1234567890
	for i := range values {
		values[i] = float64(n) / 2147483647
		n = 16807 * n % 2147483647
	}
	return values
}

func fitOf(t *testing.T, g *stability.Grid) *stability.Model {
	t.Helper()
	m, err := stability.FitNoise(g, stability.Overlapping(g, stability.Octaves(g)))
	if err != nil {
		t.Fatal(err)
	}
	return m
}
