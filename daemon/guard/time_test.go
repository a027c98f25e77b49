package guard

import "testing"

// An interval without readings is credited with at most a second, or ten nominal periods of a slow device.
func TestLongIntervalsAreCreditedInPart(t *testing.T) {
	s := definite(Positive, 100, 3)
	runTable(t, []row{
		{"an hour counts for a second", s, "100 100 +3600s 100 100 +3600s 100 100 +3600s 100", "raised@0 operated@6"},
		{"an hour twice running likewise", s, "100 100 +3600s 100 +3600s 100", "raised@0"},
		{"missing readings over an hour likewise", s, "100 x +3600s x 100", "raised@0"},
		{"an irregular device's own pace is its period", s, "0 +0.4s 0 +0.4s 100 +4.9s 100", "raised@2 operated@3"},
	})
	t.Run("ten periods of a regular clock", func(t *testing.T) {
		g := must(t, definite(Positive, 100, 3))
		r := constant(100, 2)
		r.Period = 3 * second / 10
		late := constant(100, 1)
		late.Period, late.Sequence, late.Monotonic = r.Period, 2, 100*second
		if got := story(collect(g, r, late)); got != "raised@0 operated@2" {
			t.Errorf("got %s", got)
		}
	})
}

// The clock may do what it likes without a flag: nothing is credited that did not pass.
func TestTimeThatDoesNotAdvanceCreditsNothing(t *testing.T) {
	s := definite(Positive, 100, 0.25)
	runTable(t, []row{
		{"repeated", s, "100 +-0.1s 100 +-0.1s 100 +-0.1s 100", "raised@0"},
		{"backwards", s, "100 100 +-5s 100 +-5s 100", "raised@0"},
		{"backwards, then on from there", s, "100 +-9s 100 100 100 100", "raised@0 operated@4"},
	})
}

func TestEpochChangeKeepsTimersAndCreditsNothing(t *testing.T) {
	first, second := script(t, "100 100 100"), script(t, "100 100 100")
	second.Epoch, second.Sequence, second.Monotonic = 1, 3, 900*millisecond
	got := collect(must(t, definite(Positive, 100, 0.35)), first, second)
	if story(got) != "raised@0 operated@5" {
		t.Fatalf("got %s", story(got))
	}
	if c := got[1]; c.At.Epoch != 1 || c.Onset.Epoch != 0 || c.ChargeCoulombs != 40 {
		t.Errorf("got %+v; want 0.4 s of 100 A", c)
	}
}

func TestStampsOfIrregularScans(t *testing.T) {
	r := script(t, "0 +0.5s 100 0")
	r.Wall, r.Monotonic, r.Sequence, r.Epoch = 1_000, 70, 40, 3
	got := collect(must(t, instantaneous(Positive, 100, 2)), r)
	want := []Stamp{{41, 1_000 + 600*millisecond, 70 + 600*millisecond, 3}, {42, 1_000 + 700*millisecond, 70 + 700*millisecond, 3}}
	if len(got) != 2 || got[0].At != want[0] || got[1].At != want[1] || got[1].Onset != want[0] {
		t.Errorf("got %+v, want %+v", got, want)
	}
}
