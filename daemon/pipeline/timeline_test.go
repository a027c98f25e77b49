package pipeline

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"github.com/ampledger/ampledger/daemon/scan"
)

func TestTimelineFlagsWhatDoesNotAdvance(t *testing.T) {
	const repeated, backwards = scan.TimeRepeated, scan.TimeBackwards
	for name, c := range map[string]struct {
		frames [][]int64
		want   [][]scan.Quality
	}{
		"advancing":                       {[][]int64{{0, 1, 5}, {6}}, [][]scan.Quality{nil, nil}},
		"repeated":                        {[][]int64{{0, 1, 1, 2}}, [][]scan.Quality{{0, 0, repeated, 0}}},
		"repeated across frames":          {[][]int64{{0, 1}, {1, 2}}, [][]scan.Quality{nil, {repeated, 0}}},
		"backwards until beyond the past": {[][]int64{{0, 9}, {5, 9, 10}}, [][]scan.Quality{nil, {backwards, repeated, 0}}},
		"negative times":                  {[][]int64{{-5, -6, -4}}, [][]scan.Quality{{0, backwards, 0}}},
	} {
		t.Run(name, func(t *testing.T) {
			var line Timeline
			for i, times := range c.frames {
				f := &scan.Frame{Clock: scan.Clock{Offsets: times}, Count: len(times)}
				if line.Check(f) {
					t.Error("a new epoch, after so little")
				}
				if diff := cmp.Diff(c.want[i], f.Flags); diff != "" {
					t.Errorf("flags of frame %d (-want +got):\n%s", i, diff)
				}
			}
		})
	}
}

func TestTimelineTakesRegularFramesWhole(t *testing.T) {
	var line Timeline
	for _, c := range []struct {
		monotonic int64
		flagged   int
	}{{0, 0}, {10, 0}, {17, 3}, {20, 0}} { // frames of ten scans, a unit apart; the third begins three scans late
		f := &scan.Frame{Clock: scan.Clock{Monotonic: c.monotonic, Period: 1}, Count: 10}
		line.Check(f)
		flagged := 0
		for _, q := range f.Flags {
			if q != 0 {
				flagged++
			}
		}
		if want := map[int64]int{0: 0, 10: 0, 17: 3, 20: 7}[c.monotonic]; flagged != want {
			t.Errorf("frame at %d: %d scans flagged, want %d", c.monotonic, flagged, want)
		}
	}
}

// TestTimelineBeginsAnew sets a clock back for good: after 100 scans behind, a new epoch begins.
func TestTimelineBeginsAnew(t *testing.T) {
	var line Timeline
	line.Check(&scan.Frame{Clock: scan.Clock{Monotonic: 1e12, Period: 1}, Count: 10})
	for i := range 11 {
		f := &scan.Frame{Clock: scan.Clock{Monotonic: int64(i * 10), Period: 1}, Count: 10}
		reset := line.Check(f)
		if reset != (i == 10) || (f.Flags == nil) != reset || (f.Epoch == 1) != reset {
			t.Errorf("frame %d after the step: new epoch %v, flags %v, epoch %d", i, reset, f.Flags, f.Epoch)
		}
	}
}
