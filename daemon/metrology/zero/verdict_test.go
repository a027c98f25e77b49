package zero_test

import (
	"math/rand/v2"
	"strings"
	"testing"
)

// Steady rests are refused about once in a hundred, whatever their noise.
func TestSteadyRestsPass(t *testing.T) {
	const runs = 500
	for _, c := range []struct {
		n    int
		phi  float64
		most int
	}{{60, 0, 12}, {1000, 0, 12}, {1000, 0.5, 12}, {2000, 0.8, 12}} {
		r := rand.New(rand.NewPCG(21, uint64(c.n)))
		refused := 0
		for range runs {
			if !find(t, ar1(r, c.n, c.phi)).Verdict.Stable {
				refused++
			}
		}
		if refused > c.most {
			t.Errorf("n = %d, φ = %g: %d of %d refused", c.n, c.phi, refused, runs)
		}
	}
}

// What moves beyond its noise is refused, and the reason names it.
func TestMovingRestsAreRefused(t *testing.T) {
	for name, c := range map[string]struct {
		moved func(i int) float64
		phi   float64
		want  string
	}{
		"step in the middle":   {func(i int) float64 { return step(i, 500, 0.5) }, 0, "a step of +0."},
		"step down, coloured":  {func(i int) float64 { return step(i, 300, -3) }, 0.8, "a step of -"},
		"step near the end":    {func(i int) float64 { return step(i, 900, 1) }, 0, " s (two halves"},
		"trend":                {func(i int) float64 { return 0.001 * float64(i) }, 0, "a trend of +"},
		"trend down, coloured": {func(i int) float64 { return -0.006 * float64(i) }, 0.8, "a trend of -"},
	} {
		x := ar1(rand.New(rand.NewPCG(5, uint64(len(name)))), 1000, c.phi)
		for i := range x {
			x[i] += c.moved(i)
		}
		v := find(t, x).Verdict
		if v.Stable || !strings.Contains(v.Reason, c.want) {
			t.Errorf("%s: want %q, got %+v", name, c.want, v)
		}
	}
	walk, r := make([]float64, 400), rand.New(rand.NewPCG(5, 5))
	for i := 1; i < len(walk); i++ {
		walk[i] = walk[i-1] + r.NormFloat64()
	}
	if v := find(t, walk).Verdict; v.Stable {
		t.Errorf("a random walk has no zero: %+v", v)
	}
}

func step(i, at int, by float64) float64 {
	if i < at {
		return 0
	}
	return by
}

// A movement far below the noise of the mean is none that anybody could see, and the figures tell how large it could be.
func TestTrendHasItsUncertainty(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 9))
	held := 0
	for range 500 {
		x := ar1(r, 500, 0.6)
		for i := range x {
			x[i] += 0.0004 * float64(i)
		}
		v := find(t, x).Verdict
		if d := v.TrendAmperesPerSecond - 0.0008; d < 2.1*v.TrendUncertainty && d > -2.1*v.TrendUncertainty {
			held++
		}
	}
	if held < 455 || held > 492 {
		t.Errorf("the trend's interval holds it in %d of 500", held)
	}
}
