package service

import (
	"math"
	"testing"

	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// TestFoundUncertaintiesHoldEverywhere: of a drift, at each temperature at which a zero was found; of a line, at each current either way, though
// zero and gain are independent of each other from then on.
func TestFoundUncertaintiesHoldEverywhere(t *testing.T) {
	drift := &ampledgerv1.ZeroDrift{
		OffsetUncertaintyAmperes: 0.01, SlopeUncertaintyAmperesPerKelvin: 0.002, CorrelationRatio: 0.5, ReferenceCelsius: 20, LowestCelsius: 10, HighestCelsius: 30,
	}
	f, err := findingOf(&ampledgerv1.CommissioningRecord{Body: &ampledgerv1.CommissioningRecord_Drift{Drift: drift}})
	if err != nil || math.Abs(f.zero-math.Sqrt(1e-4+4e-4+2e-4)) > 1e-12 {
		t.Errorf("of the drift %g A, %v", f.zero, err)
	}
	for _, r := range []float64{-0.9, 0, 0.9} {
		line := &ampledgerv1.Calibration{
			CoefficientValues: []float64{0, 1}, OffsetUncertaintyAmperes: 0.01, GainRatio: 1, GainUncertaintyRatio: 1e-3, CorrelationRatio: r,
		}
		f, err := findingOf(&ampledgerv1.CommissioningRecord{Body: &ampledgerv1.CommissioningRecord_Calibration{Calibration: line}})
		if err != nil {
			t.Fatal(err)
		}
		for amperes := -100.0; amperes <= 100; amperes++ {
			is := math.Sqrt(1e-4 + 1e-6*amperes*amperes + 2*r*1e-5*amperes)
			if stated := math.Hypot(f.zero, f.gain*amperes); stated < is*(1-1e-12) || stated > math.Sqrt2*math.Hypot(0.01, 1e-3*amperes) {
				t.Errorf("r = %g, %g A: stated %g A, it is %g A", r, amperes, stated, is)
			}
		}
	}
}
