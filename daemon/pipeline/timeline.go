package pipeline

import (
	"slices"

	"github.com/ampledger/ampledger/daemon/scan"
)

// resetScans is how many scans in a row must run behind before the device's clock is taken to have been set back. Until then they
// are flagged; after it a new epoch begins, and what lies between is a gap whose duration the wall clock tells.
const resetScans = 100

// Timeline follows a device's time: it gives frames their epoch and flags scans whose time repeats or runs backwards. Time only counts
// once it is beyond all that came before in its epoch, so no stretch of it is integrated twice. The zero value begins at epoch 0; a driver
// that is started again begins a new epoch with Begin.
type Timeline struct {
	epoch  uint64
	any    bool
	last   int64 // greatest time so far
	behind int   // scans in a row that were not later
	flags  []scan.Quality
}

// Begin begins an epoch.
func (t *Timeline) Begin(epoch uint64) { t.epoch, t.any, t.behind = epoch, false, 0 }

// Epoch is the one in force.
func (t *Timeline) Epoch() uint64 { return t.epoch }

// Check gives f its epoch, flags its scans and tells whether an epoch began with it because the clock was set back. f.Flags is the
// Timeline's until the next call.
func (t *Timeline) Check(f *scan.Frame) (reset bool) {
	if reset = t.behind >= resetScans; reset {
		t.Begin(t.epoch + 1)
	}
	f.Epoch = t.epoch
	if f.Period > 0 && (!t.any || f.Monotonic > t.last) {
		t.any, t.last, t.behind = true, f.At(f.Count-1), 0
		return reset
	}
	t.checkEach(f)
	return reset
}

func (t *Timeline) checkEach(f *scan.Frame) {
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

func (t *Timeline) judge(now int64) scan.Quality {
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
