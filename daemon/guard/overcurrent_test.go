package guard

import (
	"slices"
	"testing"
)

func instantaneous(side Side, pickup float64, scans int) Setting {
	return Setting{Side: side, Instantaneous: &Instantaneous{PickupAmperes: pickup, Scans: scans}}
}

func definite(side Side, pickup, seconds float64) Setting {
	return Setting{Side: side, DefiniteTime: &DefiniteTime{PickupAmperes: pickup, DelaySeconds: seconds}}
}

func TestInstantaneousOperatesAfterConsecutiveScans(t *testing.T) {
	one, three := instantaneous(Positive, 100, 1), instantaneous(Positive, 100, 3)
	runTable(t, []row{
		{"below pickup is quiet", one, "0 99.9 -500", ""},
		{"one scan raises and operates at once", one, "0 100 0", "raised@1 operated@1 cleared@2"},
		{"three scans", three, "0 100 100 100 100 0", "raised@1 operated@3 cleared@5"},
		{"too short", three, "100 100 0", "raised@0 cleared@2"},
		{"a scan between drop-off and pickup breaks the run", three, "100 100 96 100 100 100", "raised@0 operated@5"},
		{"not below drop-off stands", one, "100 95 99 95 94.9", "raised@0 operated@0 cleared@4"},
		{"a second event", one, "100 0 100 0", "raised@0 operated@0 cleared@1 raised@2 operated@2 cleared@3"},
		{"the first frame's first reading", one, "100", "raised@0 operated@0"},
	})
}

func TestDefiniteTimeOperatesAfterDelay(t *testing.T) {
	s := definite(Positive, 100, 0.3)
	runTable(t, []row{
		{"the pickup scan is t = 0", s, "0 100 100 100 100 0", "raised@1 operated@4 cleared@5"},
		{"too short", s, "100 100 100 0 100", "raised@0 cleared@3 raised@4"},
		{"the timer starts again after drop-off", s, "100 100 94 100 100 100 100", "raised@0 cleared@2 raised@3 operated@6"},
		{"the timer runs on between drop-off and pickup", s, "100 96 96 96", "raised@0 operated@3"},
		{"between the two it does not pick up", s, "96 99 96 99 96", ""},
		{"an irregular clock", s, "100 +0.05s 100 +0.02s 100 100", "raised@0 operated@3"},
		{"no delay operates with the pickup", definite(Positive, 100, 0), "0 100 96 0", "raised@1 operated@1 cleared@3"},
		{"one long interval", s, "100 +0.25s 100 0", "raised@0 operated@1 cleared@2"},
	})
}

func TestDropoffRatio(t *testing.T) {
	wide, none := instantaneous(Either, 100, 1), instantaneous(Either, 100, 1)
	wide.DropoffRatio, none.DropoffRatio = 0.5, 1
	runTable(t, []row{
		{"half", wide, "100 51 50 49.9", "raised@0 operated@0 cleared@3"},
		{"no hysteresis", none, "100 99.9 100", "raised@0 operated@0 cleared@1 raised@2 operated@2"},
	})
}

func TestSidesAreKeptApart(t *testing.T) {
	runTable(t, []row{
		{"positive does not see a charge", definite(Positive, 100, 0.2), "-500 -500 -500 -500", ""},
		{"negative does", definite(Negative, 100, 0.2), "-500 -500 -500 500", "raised@0 operated@2 cleared@3"},
		{"a discharge does not ripen the charge timer", definite(Negative, 100, 0.2), "-500 -500 500 -500 -500", "raised@0 cleared@2 raised@3"},
		{"either watches the magnitude across the change of sign", definite(Either, 100, 0.2), "500 -500 500", "raised@0 operated@2"},
	})
}

// TestEventsOfElementsInterleave pins the order: by scan, then by element; and the numbering of the events.
func TestEventsOfElementsInterleave(t *testing.T) {
	g := must(t, instantaneous(Positive, 100, 2), instantaneous(Either, 100, 1))
	var got []string
	for _, c := range collect(g, script(t, "0 100 100 0 -100")) {
		got = append(got, c.Name+" "+c.State.String())
		if want := map[string]uint64{"element 0": 1, "element 1": 2}[c.Name]; c.At.Sequence < 4 && c.Event != want {
			t.Errorf("%s belongs to event %d, want %d", c.Name, c.Event, want)
		}
	}
	want := []string{
		"element 0 raised", "element 1 raised", "element 1 operated", "element 0 operated",
		"element 0 cleared", "element 1 cleared", "element 1 raised", "element 1 operated",
	}
	if !slices.Equal(got, want) {
		t.Errorf("got  %q\nwant %q", got, want)
	}
}
