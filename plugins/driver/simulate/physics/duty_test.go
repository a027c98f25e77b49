package physics

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func ns(seconds float64) int64 { return int64(seconds * float64(time.Second)) }

func TestDuty(t *testing.T) {
	once := Duty{}
	once.Add(Segment{Shape: Hold(10)}, ns(2))
	once.Add(Segment{Shape: Ramp{10, -10, ns(4)}}, ns(4))
	once.Add(Segment{Shape: Hold(50), ContactorOpen: true}, ns(1))
	once.Add(Segment{Shape: Sine{5, 2, ns(4)}}, ns(3))
	again := once
	again.Repeat = true
	var near Place // deliberately one for all: a place looked at before, even in another duty, must change nothing
	for _, c := range []struct {
		name    string
		duty    Duty
		seconds float64
		amperes float64
		open    bool
	}{
		{"start", once, 0, 10, false},
		{"end of a segment is the next one's", once, 2, 10, false},
		{"ramp", once, 3, 5, false},
		{"ramp through zero", once, 4, 0, false},
		{"just before the end of the ramp", once, 6 - 1e-9, -10 + 5e-9, false},
		{"open", once, 6.5, 0, true},
		{"sine begins at its mean", once, 7, 5, false},
		{"upwards", once, 8, 7, false},
		{"just before the end", once, 10 - 1e-9, 3, false},
		{"after the end", once, 10, 0, false},
		{"long after", once, 1e9, 0, false},
		{"again from the start", again, 10, 10, false},
		{"again", again, 10*1e6 + 3, 5, false},
		{"again open", again, 16.999, 0, true},
		{"none", Duty{Repeat: true}, 5, 0, false},
	} {
		amperes, open := c.duty.At(ns(c.seconds), &near)
		if math.Abs(amperes-c.amperes) > 1e-9 || open != c.open {
			t.Errorf("%s: %v A, open %v, want %v, %v", c.name, amperes, open, c.amperes, c.open)
		}
	}
}

// TestRecordedAgreesWithSearchFromTheStart holds the search against the obvious one.
func TestRecordedAgreesWithSearchFromTheStart(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r, hint := &Recorded{}, rapid.Int().Draw(t, "hint")
		at := int64(0)
		for _, step := range rapid.SliceOfN(rapid.Int64Range(0, 3), 2, 20).Draw(t, "steps") {
			if len(r.nanos) > 0 {
				at += step
			}
			if err := r.Add(at, rapid.Float64Range(-100, 100).Draw(t, "amperes")); err != nil {
				t.Fatal(err)
			}
		}
		when := rapid.Int64Range(0, r.LengthNanos()).Draw(t, "when")
		want := r.amperes[len(r.amperes)-1]
		for i := len(r.nanos) - 2; i >= 0; i-- {
			if a, b := r.nanos[i], r.nanos[i+1]; a <= when && when < b {
				want = r.amperes[i] + (r.amperes[i+1]-r.amperes[i])*float64(when-a)/float64(b-a)
			}
		}
		if got := r.At(when, &hint); math.Abs(got-want) > 1e-9 {
			t.Fatalf("at %d of %v: %v A, want %v", when, r.nanos, got, want)
		}
	})
}

func TestWaveIsSharpAfterAYear(t *testing.T) {
	const year = int64(31_536_000) * 1e9
	if a, b := wave(ns(0.1), ns(1)), wave(year+ns(0.1), ns(1)); a != b || math.Abs(a-math.Sin(0.2*math.Pi)) > 1e-15 {
		t.Errorf("%v at the start, %v after a year", a, b)
	}
}
