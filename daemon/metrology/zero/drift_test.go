package zero_test

import (
	"math"
	"strings"
	"testing"

	"github.com/ampledger/ampledger/daemon/metrology/zero"
)

// Three zeros on a line; the figures are those of the weighted fit done by hand: with equal u the slope's is u/√Σ(T−T̄)².
func TestDrift(t *testing.T) {
	d, err := zero.FitDrift([]zero.At{{5, 0.10, 0.02}, {25, 0.30, 0.02}, {45, 0.50, 0.02}}, 25)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "offset", d.OffsetAmperes, 0.30, 1e-12)
	near(t, "slope", d.SlopeAmperesPerKelvin, 0.01, 1e-12)
	near(t, "u of offset", d.OffsetUncertaintyAmperes, 0.02/math.Sqrt(3), 1e-12)
	near(t, "u of slope", d.SlopeUncertainty, 0.02/math.Sqrt(800), 1e-12)
	at, u := d.Zero(45)
	near(t, "at 45 °C", at, 0.5, 1e-12)
	near(t, "u at 45 °C", u, 0.02*math.Sqrt(1.0/3+400.0/800), 1e-12)
	if math.Abs(d.Correlation) > 1e-12 || d.Enlarged != 1 || d.LowestCelsius != 5 || d.HighestCelsius != 45 {
		t.Errorf("%+v", d)
	}
	bent, err := zero.FitDrift([]zero.At{{5, 0.10, 0.02}, {25, 0.50, 0.02}, {45, 0.50, 0.02}}, 25)
	if err != nil || bent.Enlarged != bent.Birge || bent.Birge < 5 || !(bent.SlopeUncertainty > 5*d.SlopeUncertainty) {
		t.Errorf("zeros that lie on no line: %+v, %v", bent, err)
	}
}

func TestNoDrift(t *testing.T) {
	for want, zeros := range map[string][]zero.At{
		"cannot tell 2": {{25, 1, 0.1}, {25, 2, 0.1}},
		"point 1 is 0":  {{25, 1, 0}, {30, 2, 0.1}},
		"not finite":    {{math.NaN(), 1, 0.1}, {30, 2, 0.1}},
	} {
		if _, err := zero.FitDrift(zeros, 25); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("want %q, got %v", want, err)
		}
	}
}
