package guard

import (
	"math"
	"testing"

	"github.com/ampledger/ampledger/daemon/scan"
)

// TestEventGathers follows one event by hand: 0, 200, 400, 300, 0 A, 100 ms apart.
func TestEventGathers(t *testing.T) {
	r := script(t, "0 200 400 300 0")
	r.NoiseAmperes, r.ZeroAmperes, r.GainRatio = 3, 4, 0.03
	got := collect(must(t, instantaneous(Either, 100, 2)), r)
	want := []Change{ // trapezoids from the onset on
		{State: Raised, PeakAmperes: 200, PeakUncertaintyAmperes: math.Sqrt(25 + 36)},
		{State: Operated, PeakAmperes: 400, ChargeCoulombs: 30, SquareAmpereSeconds: 10_000, PeakUncertaintyAmperes: 13},
		{State: Cleared, PeakAmperes: 400, ChargeCoulombs: 30 + 35 + 15, SquareAmpereSeconds: 10_000 + 12_500 + 4_500, PeakUncertaintyAmperes: 13},
	}
	if len(got) != len(want) {
		t.Fatalf("got %s", story(got))
	}
	for i, c := range got {
		near(t, c.State.String()+" peak", c.PeakAmperes, want[i].PeakAmperes)
		near(t, c.State.String()+" u(peak)", c.PeakUncertaintyAmperes, want[i].PeakUncertaintyAmperes)
		near(t, c.State.String()+" charge", c.ChargeCoulombs, want[i].ChargeCoulombs)
		near(t, c.State.String()+" square", c.SquareAmpereSeconds, want[i].SquareAmpereSeconds)
		if c.State != want[i].State || c.Event != 1 || c.Railed || c.Settings != instantaneous(Either, 100, 2).String() {
			t.Errorf("got %+v", c)
		}
	}
}

func near(t *testing.T, what string, got, want float64) {
	t.Helper()
	if math.Abs(got-want) > 1e-12*math.Abs(want) {
		t.Errorf("%s: got %v, want %v", what, got, want)
	}
}

// A mean holds over its whole interval: rectangles.
func TestMeansAreIntegratedByTheRectangle(t *testing.T) {
	r := script(t, "0 200 400 0")
	r.Averaged = true
	last := collect(must(t, instantaneous(Either, 100, 1)), r)[2]
	near(t, "charge", last.ChargeCoulombs, 40)
	near(t, "square", last.SquareAmpereSeconds, 16_000)
}

func TestPeakKeepsItsSignAndSide(t *testing.T) {
	r := script(t, "-200 -300r 250 -200 0")
	got := collect(must(t, definite(Either, 100, 9)), r)
	if c := got[1]; c.State != Cleared || c.PeakAmperes != -300 || !c.Railed {
		t.Errorf("either: %+v", c)
	}
	got = collect(must(t, definite(Negative, 100, 9)), script(t, "-200 900"))
	if c := got[1]; c.PeakAmperes != -200 || c.Railed {
		t.Errorf("negative: %+v", c)
	}
}

func TestChangeCarriesTheEstimateInForce(t *testing.T) {
	r := script(t, "0 100 100 0")
	r.Estimate = scan.Estimate{Offset: 0.5, Age: 7 * second, Stale: true, Estimator: "biasfilter", Generation: 3}
	want := r.Estimate
	want.Age += 100 * millisecond
	if c := collect(must(t, instantaneous(Either, 100, 1)), r)[0]; c.Estimate != want {
		t.Errorf("got %+v, want %+v", c.Estimate, want)
	}
	r.Estimate = scan.Estimate{Age: -1}
	if c := collect(must(t, instantaneous(Either, 100, 1)), r)[0]; c.Estimate != r.Estimate {
		t.Errorf("no estimate has no age: got %+v", c.Estimate)
	}
}
