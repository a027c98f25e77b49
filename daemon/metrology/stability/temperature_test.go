package stability_test

import (
	"math"
	"testing"

	"github.com/ampledger/ampledger/daemon/metrology/stability"
)

// warm is a log whose zero follows the temperature by 0.3 A/K.
func warm(seed uint64, n, k float64) *stability.Grid {
	values := noisy(seed, 1000, n, k, 1)
	celsius := make([]float64, len(values))
	for i := range values {
		celsius[i] = 25 + 5*math.Sin(float64(i)/float64(len(values))*2*math.Pi*2.3+float64(seed))
		values[i] += 0.3 * celsius[i]
	}
	g := stability.Evenly(1, values)
	g.Segments[0].Celsius = celsius
	return g
}

// The stated 95 % interval holds the true slope in about that many logs, be the noise white or a walk that looks like a temperature effect; an
// ordinary fit's would hold it in about one of ten logs with a walk. Of 72 logs, fewer than 60 is chance once in 500 at 93 %.
func TestTemperatureSlope(t *testing.T) {
	within := 0
	for _, noise := range [][2]float64{{1, 0}, {0, 0.05}, {1, 0.3}} {
		for seed := range uint64(24) {
			f, err := stability.FitTemperature(warm(seed, noise[0], noise[1]))
			if err != nil {
				t.Fatal(err)
			}
			if math.Abs(f.SlopeAmperesPerKelvin-0.3) < 1.96*f.StandardUncertainty {
				within++
			}
			if f.LowestCelsius < 20 || f.HighestCelsius > 30 {
				t.Fatalf("from %g to %g °C", f.LowestCelsius, f.HighestCelsius)
			}
		}
	}
	if within < 60 {
		t.Errorf("the slope lies within its limits in %d of 72 logs", within)
	}
}

func TestTemperatureRefuses(t *testing.T) {
	constant := warm(1, 1, 0)
	for i := range constant.Segments[0].Celsius {
		constant.Segments[0].Celsius[i] = 20
	}
	short := warm(1, 1, 0)
	short.Segments[0].Amperes, short.Segments[0].Celsius = short.Segments[0].Amperes[:50], short.Segments[0].Celsius[:50]
	exact := warm(1, 0, 0)
	for name, g := range map[string]*stability.Grid{"constant": constant, "short": short, "without noise": exact} {
		if f, err := stability.FitTemperature(g); err == nil && !(f.StandardUncertainty < 1e-9) {
			t.Errorf("%s: %+v", name, f)
		}
	}
}
