package guard

import (
	"math"

	"github.com/ampledger/ampledger/daemon/scan"
)

// Stamp places a scan: by the device's sequence and monotonic time within an epoch, with a wall-clock label.
type Stamp struct {
	Sequence  uint64
	Wall      int64  // ns since 1970-01-01 UTC
	Monotonic int64  // ns
	Epoch     uint64 // Monotonic compares within one epoch only
}

const (
	second         = 1_000_000_000 // ns
	nominalPeriods = 10            // that one interval is credited with, if they are more than a second
)

// timebase follows the device's time over readings that count and readings that do not.
type timebase struct {
	begun   bool
	now     Stamp    // newest reading whose time is good
	counted Stamp    // newest reading that counts; before there is one, the first reading of all
	span    int64    // ns known to have passed since counted
	pace    [2]int64 // ns, the spans that ended at counted and at the reading that counted before it
}

// pass moves on to reading k. An epoch's first reading, and one that is not later than that before, add no time.
func (t *timebase) pass(r *scan.Readings, k int) {
	monotonic := r.At(k)
	if !t.begun {
		t.begin(r, k)
	}
	if t.now.Epoch == r.Epoch {
		t.span += max(monotonic-t.now.Monotonic, 0)
	}
	t.now = Stamp{r.Sequence + uint64(k), r.Wall + monotonic - r.Monotonic, monotonic, r.Epoch}
}

func (t *timebase) begin(r *scan.Readings, k int) {
	t.begun = true
	t.now = Stamp{r.Sequence + uint64(k), r.WallAt(k), r.At(k), r.Epoch}
	t.counted = t.now
}

// credit is how much of the span is credited; period is the clock's, 0 if irregular.
func (t *timebase) credit(period int64) int64 {
	if period == 0 {
		period = min(t.pace[0], t.pace[1]) // so that one pause does not pass for the pace
	}
	return min(t.span, max(second, nominalPeriods*period))
}

// count makes the present reading the newest that counts.
func (t *timebase) count() {
	t.counted = t.now
	t.pace[0], t.pace[1], t.span = t.span, t.pace[0], 0
}

// silent is the present's stamp when nothing has come for so many ns since the newest reading.
func (t *timebase) silent(wall, silence int64) Stamp {
	now := t.now
	now.Wall = wall
	now.Monotonic += silence
	return now
}

// longestGap is the longest time from one reading to the next in r, and up to its first, if all of r count.
func (t *timebase) longestGap(r *scan.Readings) int64 {
	gap := t.span
	if t.begun && t.now.Epoch == r.Epoch {
		gap += max(r.At(0)-t.now.Monotonic, 0)
	}
	if r.Period != 0 {
		return max(gap, r.Period)
	}
	for k := 1; k < r.Len(); k++ {
		gap = max(gap, r.Offsets[k]-r.Offsets[k-1])
	}
	return gap
}

func nanos(seconds float64) int64 { return int64(math.Round(seconds * second)) }
