package calibration_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/ampledger/ampledger/daemon/metrology/calibration"
)

// swept marks the first half of simulated points ascending and the rest descending, these being higher by so much.
func swept(points []calibration.Point, by float64) []calibration.Point {
	for i := range points {
		points[i].Sweep = calibration.Ascending
		if i >= len(points)/2 {
			points[i].Sweep = calibration.Descending
			points[i].IndicatedAmperes += by
		}
	}
	return points
}

func TestHysteresis(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	wrong, held := 0, 0
	for range 1000 {
		if curveOf(t, swept(simulated(r, 0, 1), 0), straight, calibration.Common{}).Hysteresis(0).Seen() {
			wrong++
		}
		h := curveOf(t, swept(simulated(r, 0, 1), 0.2), straight, calibration.Common{}).Hysteresis(0)
		if !h.Seen() || h.Places != 11 {
			t.Fatalf("0.2 A of hysteresis is not seen: %+v", h)
		}
		held += within(h.MeanAmperes, h.MeanUncertaintyAmperes, 0.2)
	}
	if wrong > 25 || held < 920 || held > 975 {
		t.Errorf("seen without being there in %d of 1000, mean inside its interval in %d", wrong, held)
	}
}

// The largest difference is told with its place and sign; points of one sweep alone tell nothing; neighbours count as one place if they are within reach.
func TestHysteresisPlaces(t *testing.T) {
	p := func(reference, indicated float64, sweep calibration.Sweep) calibration.Point {
		return calibration.Point{ReferenceAmperes: reference, ReferenceUncertaintyAmperes: 0.01, IndicatedAmperes: indicated, Sweep: sweep}
	}
	points := []calibration.Point{
		p(-100, -100, calibration.Ascending), p(0, 0, calibration.Ascending), p(50, 50, calibration.Unswept), p(100, 100, calibration.Ascending),
		p(0.02, -0.5, calibration.Descending), p(-100.02, -100.02, calibration.Descending),
	}
	c := curveOf(t, points, straight, calibration.Common{})
	if h := c.Hysteresis(0); h.Places != 0 || h.Seen() {
		t.Errorf("no current has both sweeps: %+v", h)
	}
	h := c.Hysteresis(0.05)
	gain := c.Line().Gain
	if h.Places != 2 || h.LargestAtAmperes != 0 || !h.Seen() {
		t.Errorf("%+v", h)
	}
	near(t, "largest", h.LargestAmperes, -0.5-0.02*gain, 1e-9)
	near(t, "its u", h.LargestUncertaintyAmperes, 0.01*math.Sqrt2*gain, 1e-9)
}
