package charge

import (
	"math"
	"testing"

	"github.com/ampledger/ampledger/daemon/scan"
)

// TestAnotherGain: 100 A flow out for an hour, measured to 1 %, and back for an hour, measured to 0.1 % by another gain. The errors of the two have
// nothing to do with each other: though net is nothing, 1 % of what flowed out stays uncertain.
func TestAnotherGain(t *testing.T) {
	account, err := New(Config{BoundAmperes: 200, SaturatedBoundAmperes: 200})
	if err != nil {
		t.Fatal(err)
	}
	for hour, gain := range []float64{0.01, 0.001} {
		if hour == 1 {
			account.BeginGain()
		}
		r := &scan.Readings{
			Clock:   scan.Clock{Epoch: 1, Sequence: uint64(hour * 3600), Monotonic: int64(hour) * 3600e9, Period: 1e9},
			Amperes: make([]float64, 3600), Raw: make([]float64, 3600), Usable: 3600, GainRatio: gain,
		}
		for k := range r.Amperes {
			r.Amperes[k] = 100 - 200*float64(hour)
		}
		account.Apply(r)
	}
	totals := account.Totals()
	if u := totals.Uncertainty(); math.Abs(u.Zero-3600) > 2 || u.Gain > 1 || totals.GainRatio != 0.001 {
		t.Errorf("of zero %g C, of gain %g C at %g", u.Zero, u.Gain, totals.GainRatio)
	}
}
