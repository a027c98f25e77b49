package simulate

import (
	"math"
	"os"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func ns(seconds float64) int64 { return int64(seconds * float64(time.Second)) }

func TestDuty(t *testing.T) {
	once := duty{}
	once.add(segment{shape: hold(10)}, ns(2))
	once.add(segment{shape: ramp{10, -10, ns(4)}}, ns(4))
	once.add(segment{shape: hold(50), contactorOpen: true}, ns(1))
	once.add(segment{shape: sine{5, 2, ns(4)}}, ns(3))
	again := once
	again.repeat = true
	for _, c := range []struct {
		name    string
		duty    duty
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
		{"none", duty{repeat: true}, 5, 0, false},
	} {
		amperes, open := c.duty.at(ns(c.seconds))
		if math.Abs(amperes-c.amperes) > 1e-9 || open != c.open {
			t.Errorf("%s: %v A, open %v, want %v, %v", c.name, amperes, open, c.amperes, c.open)
		}
	}
}

func TestRecorded(t *testing.T) {
	t.Chdir(t.TempDir())
	if err := os.WriteFile("r.csv", []byte("a,t,mode\n1,100,x\n,100.5,x\n3,101,x\n3,102,y\n-5,102,y\n-7,104,y\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	r, _, err := readRecorded("r.csv", "a", "t", 2)
	if err != nil || r.length() != ns(4) {
		t.Fatalf("%v, %v, want 4 s", r, err)
	}
	for seconds, want := range map[float64]float64{0: 2, 0.25: 3, 1: 6, 1.999: 6, 2: -10, 3: -12, 4: -14} {
		if got := r.at(ns(seconds)); math.Abs(got-want) > 1e-12 {
			t.Errorf("at %v s: %v A, want %v", seconds, got, want)
		}
	}
}

// TestRecordedAgreesWithSearchFromTheStart holds the search against the obvious one.
func TestRecordedAgreesWithSearchFromTheStart(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := &recorded{}
		at := int64(0)
		for _, step := range rapid.SliceOfN(rapid.Int64Range(0, 3), 2, 20).Draw(t, "steps") {
			if len(r.nanos) > 0 {
				at += step
			}
			if err := r.add(at, rapid.Float64Range(-100, 100).Draw(t, "amperes")); err != nil {
				t.Fatal(err)
			}
		}
		when := rapid.Int64Range(0, r.length()).Draw(t, "when")
		want := r.amperes[len(r.amperes)-1]
		for i := len(r.nanos) - 2; i >= 0; i-- {
			if a, b := r.nanos[i], r.nanos[i+1]; a <= when && when < b {
				want = r.amperes[i] + (r.amperes[i+1]-r.amperes[i])*float64(when-a)/float64(b-a)
			}
		}
		if got := r.at(when); math.Abs(got-want) > 1e-9 {
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
