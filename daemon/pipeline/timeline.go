package pipeline

import (
	"slices"

	"github.com/ampledger/ampledger/daemon/scan"
)

// resetScans is how many scans in a row must run behind before the device's clock is taken to have been set back. Until then they
// are flagged; after it a new epoch begins, and what lies between is a gap whose duration the wall clock tells.
const resetScans = 100

// timeline flags scans whose time repeats or runs backwards. Time only counts once it is beyond all that came before, so no
// stretch of it is integrated twice.
type timeline struct {
	any    bool
	last   int64 // greatest time so far
	behind int   // scans in a row that were not later
	flags  []scan.Quality
}

// check flags the scans of f and tells whether a new epoch must begin with it.
func (t *timeline) check(f *scan.Frame) (reset bool) {
	if t.behind >= resetScans {
		t.any, t.behind, reset = false, 0, true
	}
	if f.Period > 0 && (!t.any || f.Monotonic > t.last) {
		t.any, t.last, t.behind = true, f.At(f.Count-1), 0
		return reset
	}
	t.checkEach(f)
	return reset
}

func (t *timeline) checkEach(f *scan.Frame) {
	t.flags = slices.Grow(t.flags[:0], f.Count)[:f.Count]
	bad := false
	for k := range t.flags {
		t.flags[k] = t.judge(f.At(k))
		bad = bad || t.flags[k] != 0
	}
	if bad {
		f.Flags = t.flags
	}
}

func (t *timeline) judge(now int64) scan.Quality {
	switch {
	case !t.any || now > t.last:
		t.any, t.last, t.behind = true, now, 0
		return 0
	case now == t.last:
		t.behind++
		return scan.TimeRepeated
	}
	t.behind++
	return scan.TimeBackwards
}
