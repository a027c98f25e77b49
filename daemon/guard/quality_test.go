package guard

import (
	"math"
	"testing"

	"github.com/ampledger/ampledger/daemon/scan"
)

// A short circuit drives the converter into its limit: the true current is at least the rail.
func TestRailedReadingsCount(t *testing.T) {
	runTable(t, []row{
		{"saturated operates", instantaneous(Positive, 100, 2), "0 120r 120r 0", "raised@1 operated@2 cleared@3"},
		{"out of range operates", instantaneous(Positive, 100, 2), "0 120o 120o", "raised@1 operated@2"},
		{"on its own side only", instantaneous(Positive, 100, 2), "-120r -120r", ""},
		{"a rail below pickup does not", instantaneous(Positive, 100, 1), "90r 90r", ""},
		{"definite time runs at the rail", definite(Positive, 100, 0.2), "100 120r 120r", "raised@0 operated@2"},
		{"out of range without a value does not", instantaneous(Positive, 100, 1), "o o", ""},
	})
}

// A missing reading is not evidence of a low current.
func TestSkippedReadingsNeitherResetNorAdvance(t *testing.T) {
	three, timed := instantaneous(Positive, 100, 3), definite(Positive, 100, 0.3)
	runTable(t, []row{
		{"missing in a run", three, "100 x x 100 x 100", "raised@0 operated@5"},
		{"not finite in a run", three, "100 n 100 n 100", "raised@0 operated@4"},
		{"time faults in a run", three, "100 0t 100 900t 100", "raised@0 operated@4"},
		{"skipped values do not pick up", three, "900t 900t 900t 900x 900n", ""},
		{"the time of skipped readings is credited", timed, "100 x x 100", "raised@0 operated@3"},
		{"but not by them", timed, "100 x x x x", "raised@0"},
		{"time faults have no time", timed, "100 100t 100t 100", "raised@0 operated@3"},
	})
}

// An infinity that nobody flagged must not pass for a current, nor NaN for a low one.
func TestValuesThatAreNoNumbersAreSkipped(t *testing.T) {
	r := script(t, "100 0 0 100 100")
	r.Amperes[1], r.Amperes[2] = math.NaN(), math.Inf(-1)
	if got, want := story(collect(must(t, instantaneous(Positive, 100, 3)), r)), "raised@0 operated@4"; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
}

func TestSaturation(t *testing.T) {
	element := func(side Side, scans int) Setting { return Setting{Side: side, Saturation: &Saturation{Scans: scans}} }
	runTable(t, []row{
		{"three scans", element(Either, 3), "0 90r 90r 90r 0", "raised@1 operated@3 cleared@4"},
		{"out of range is a rail", element(Either, 2), "90o -90r 0", "raised@0 operated@1 cleared@2"},
		{"too short", element(Either, 2), "90r 0 90r 0", "raised@0 cleared@1 raised@2 cleared@3"},
		{"missing neither resets nor advances", element(Either, 2), "90r x x 90r", "raised@0 operated@3"},
		{"other side", element(Negative, 1), "90r -90r 90r", "raised@1 operated@1 cleared@2"},
		{"a rail at zero lies on both sides", element(Negative, 1), "0r", "raised@0 operated@0"},
		{"a great good current is none", element(Either, 1), "9000", ""},
	})
}

func TestStaleness(t *testing.T) {
	s := Setting{Side: Either, Staleness: &Staleness{AfterSeconds: 0.25}}
	runTable(t, []row{
		{"readings keep it quiet", s, "0 0 0 0 0 0", ""},
		{"missing ones do not", s, "0 x x x x 0", "raised@3 operated@3 cleared@5"},
		{"nor from the beginning", s, "x x x x 0", "raised@3 operated@3 cleared@4"},
		{"a rail does", s, "0 90r 90r 90r 90r", ""},
		{"a silence is found by the reading that ends it", s, "0 0 +1s 0 0", "raised@2 operated@2 cleared@2"},
		{"just the limit is not more than it", s, "0 +0.15s 0 +0.15s 90r", ""},
	})
	t.Run("a silence over two frames", func(t *testing.T) {
		next := script(t, "0 0")
		next.Sequence, next.Monotonic = 3, 270*millisecond
		if got := story(collect(must(t, s), script(t, "0 x x"), next)); got != "raised@3 operated@3 cleared@3" {
			t.Errorf("got %q", got)
		}
	})
}

// TestABrokenThermometerDoesNotBlind lets the supply or temperature be missing: the reading counts as it stands.
func TestABrokenThermometerDoesNotBlind(t *testing.T) {
	three := Setting{Side: Positive, Instantaneous: &Instantaneous{PickupAmperes: 100, Scans: 3}}
	runTable(t, []row{
		{"above pickup it operates", three, "0a 900a 900a 900a 0a", "raised@1 operated@3 cleared@4"},
		{"below it breaks a run", three, "100 0a 100 900a 100", "raised@0 cleared@1 raised@2 operated@4"},
	})
}

func TestStalenessEventBeginsAtTheLastReadingThatCounts(t *testing.T) {
	g := must(t, Setting{Side: Either, Staleness: &Staleness{AfterSeconds: 0.25}})
	for _, c := range collect(g, script(t, "70 70 x x x 70")) {
		if c.Onset.Sequence != 1 || c.Onset.Monotonic != 100*millisecond {
			t.Errorf("%v: onset %+v, want that of reading 1", c.State, c.Onset)
		}
		if c.PeakAmperes != 0 || c.ChargeCoulombs != 0 {
			t.Errorf("%v: a silence measures no current, got %v A, %v C", c.State, c.PeakAmperes, c.ChargeCoulombs)
		}
	}
}

func TestSilent(t *testing.T) {
	settings := []Setting{{Side: Either, Staleness: &Staleness{AfterSeconds: 2}}, definite(Positive, 100, 1)}
	silent := func(g *Guard, silence int64) (changes []Change) {
		g.Silent(1e18+silence, silence, func(c Change) { changes = append(changes, c) })
		return changes
	}

	t.Run("raises once, the next reading clears", func(t *testing.T) {
		g := must(t, settings...)
		collect(g, script(t, "0 0 0"))
		if got := silent(g, 2*second); len(got) != 0 {
			t.Fatalf("at the limit: %s", story(got))
		}
		got := silent(g, 2*second+1)
		if story(got) != "raised@2 operated@2" {
			t.Fatalf("past the limit: %s", story(got))
		}
		if want := (Stamp{2, 1e18 + 2*second + 1, 200*millisecond + 2*second + 1, 0}); got[0].At != want {
			t.Errorf("at %+v, want %+v", got[0].At, want)
		}
		if again := silent(g, 3*second); len(again) != 0 {
			t.Errorf("told twice: %s", story(again))
		}
		next := script(t, "0")
		next.Sequence, next.Monotonic = 3, 5*second
		if got := collect(g, next); story(got) != "cleared@3" || got[0].Event != 1 {
			t.Errorf("ended by %+v", got)
		}
	})
	t.Run("adds to a silence the readings show", func(t *testing.T) {
		g := must(t, settings...)
		collect(g, script(t, "0 x +0.9s x"))
		if got := story(silent(g, second-99*millisecond)); got != "raised@2 operated@2" {
			t.Errorf("got %q", got)
		}
	})
	t.Run("before any reading", func(t *testing.T) {
		g := must(t, settings...)
		got := silent(g, 3*second)
		if story(got) != "raised@0 operated@0" || got[0].Onset.Wall != 1e18 || got[0].At.Monotonic != 3*second {
			t.Errorf("got %+v", got)
		}
		if got := story(collect(g, script(t, "0"))); got != "cleared@0" {
			t.Errorf("then %q", got)
		}
	})
	t.Run("leaves overcurrent elements alone", func(t *testing.T) {
		g := must(t, settings[1])
		collect(g, script(t, "100 100"))
		if got := silent(g, 3600*second); len(got) != 0 {
			t.Errorf("got %s", story(got))
		}
	})
}

// The bits of scan.Quality must all have been thought of here.
func TestEveryCauseIsSorted(t *testing.T) {
	var all scan.Quality
	for _, cause := range scan.Causes {
		all |= cause
	}
	sorted := []scan.Quality{untimed, valueless, atRail, approximate}
	var once scan.Quality
	for _, class := range sorted {
		if once&class != 0 {
			t.Errorf("%v is sorted twice", once&class)
		}
		once |= class
	}
	if once != all {
		t.Errorf("%v is not sorted", all&^once)
	}
}
