package can

import (
	"testing"

	"pgregory.net/rapid"
)

const day = int64(86400e9)

// A time the kernel gave by the wall clock is moved by what the clocks are apart, and believed only where the frame can have come.
func TestClockMovesTheKernelsTime(t *testing.T) {
	c := clock{}
	c.read(1_000_000_000, 1_000_000_000+day+50, 1_000_000_100)
	c.empty = 900_000_000
	for _, f := range []struct {
		name  string
		wall  int64
		at    int64
		plain bool
	}{
		{"a while ago", day + 950_000_000, 950_000_000, true},
		{"at once", day + 1_000_000_050, 1_000_000_050, true},
		{"just before the last was taken, by the adjustment of a clock", day + 899_500_000, 899_500_000, true},
		{"not told", 0, 1_000_000_100, true},
		{"the clock was set forward meanwhile", day + 1_000_000_000 - 60e9, 1_000_000_100, false},
		{"the clock was set back meanwhile", day + 1_000_000_000 + 60e9, 1_000_000_100, false},
	} {
		if at, plain := c.at(f.wall); at != f.at || plain != f.plain {
			t.Errorf("%s: %d, %v, want %d", f.name, at, plain, f.at)
		}
	}
}

// A reading of the clocks that is interrupted moves nothing, and one that shows that the wall clock was set moves everything.
func TestClockKeepsWhatItKnows(t *testing.T) {
	c := clock{}
	c.read(1000, day+1100, 1200)
	if c.ahead != day {
		t.Fatalf("%d", c.ahead)
	}
	c.read(2000, day+2010, 50_000_000)
	if c.ahead != day || c.boot != 50_000_000 {
		t.Errorf("an interrupted reading moved it by %d", c.ahead-day)
	}
	c.read(51_000_000, day+3600e9+51_000_100, 51_000_200)
	if off := c.ahead - day - 3600e9; off < -100 || off > 100 {
		t.Errorf("a clock set forward by an hour is off by %d", off)
	}
}

// However the clocks drift and however the readings are interrupted, what is known never is off by more than the shortest reading near it.
func TestClockProperty(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c, boot := clock{}, int64(1e9)
		truth := func(at int64) int64 { return day + at/2000 } // 500 ppm
		for range rapid.IntRange(1, 40).Draw(t, "readings") {
			before := boot
			wallAt := before + rapid.Int64Range(0, 1e6).Draw(t, "to the wall")
			after := wallAt + rapid.Int64Range(0, 1e6).Draw(t, "from the wall")
			c.read(before, wallAt+truth(wallAt), after)
			if off := c.ahead - truth(after); off < before-after-1000 || off > after-before+1000 {
				t.Fatalf("off by %d ns after a reading of %d ns", off, after-before)
			}
			boot = after + rapid.Int64Range(0, 1e9).Draw(t, "pause")
		}
	})
}
