package store

import (
	"cmp"
	"errors"
	"maps"
	"slices"
)

// The columns that verifying looks into, by number.
var (
	columnConductor = slices.Index(entryColumns, "conductor")
	columnChannel   = slices.Index(entryColumns, "channel")
	columnKind      = slices.Index(entryColumns, "kind")
	columnDevice    = slices.Index(entryColumns, "device")
	columnEpoch     = slices.Index(entryColumns, "epoch")
	columnLast      = slices.Index(entryColumns, "last_sequence")
	columnGapCount  = slices.Index(entryColumns, "gap_count")
	columnDuration  = slices.Index(entryColumns, "duration_nanos")
	columnOut       = slices.Index(entryColumns, "out_microcoulombs")
	columnIn        = slices.Index(entryColumns, "in_microcoulombs")
	columnAdjusted  = slices.Index(entryColumns, "adjustment_microcoulombs")
)

// account is a channel of a conductor.
type account struct{ conductor, channel string }

// accountSum is what the entries of an account add up to, one by one.
type accountSum struct {
	count    uint64
	sums     [4]int64 // duration, out, in, adjustment
	overflow bool
}

// add adds an entry up.
func (w *ledgerWalk) add(p *rawPosting) {
	kind, _ := p.values[columnKind].(string)
	if device, _ := p.values[columnDevice].(string); Kind(kind).covers() {
		last, _ := p.values[columnLast].(int64)
		w.used[device] = max(w.used[device], last+1)
	}
	if Kind(kind).chargeless() {
		return
	}
	var of account
	of.conductor, _ = p.values[columnConductor].(string)
	of.channel, _ = p.values[columnChannel].(string)
	sum := w.sums[of]
	if sum == nil {
		sum = new(accountSum)
		w.sums[of] = sum
	}
	sum.count++
	for i, column := range [...]int{columnDuration, columnOut, columnIn, columnAdjusted} {
		more, _ := p.values[column].(int64)
		to := sum.sums[i] + more
		sum.overflow = sum.overflow || (more > 0) != (to > sum.sums[i]) && more != 0
		sum.sums[i] = to
	}
}

// compareSums holds each balance, which comes by way of the index, against the entries added up.
func (w *ledgerWalk) compareSums() error {
	byName := func(a, b account) int {
		return cmp.Or(cmp.Compare(a.conductor, b.conductor), cmp.Compare(a.channel, b.channel))
	}
	for _, of := range slices.SortedFunc(maps.Keys(w.sums), byName) {
		want := w.sums[of]
		b, err := balanceOf(w.ctx, w.from, of.conductor, of.channel, nil, nil)
		if errors.Is(err, ErrOverflow) {
			continue // a balance that cannot be stated is refused when it is asked for
		}
		if err != nil && !errors.Is(err, ErrNoEntries) {
			return err
		}
		got := accountSum{b.EntryCount, [4]int64{b.DurationNanos, b.OutMicrocoulombs, b.InMicrocoulombs, b.AdjustmentMicrocoulombs}, false}
		if got != *want {
			w.verifying.add(Fault{}, "balance of %s/%s: %d entries, ns, µC out, in and adjusted %v; one by one %d, %v",
				of.conductor, of.channel, got.count, got.sums, want.count, want.sums)
		}
	}
	return nil
}
