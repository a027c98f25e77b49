package charge

import "github.com/ampledger/ampledger/daemon/scan"

// Totals is what an account counted from one usable reading to another, with the readings refused and scans lost up to now. It is a value:
// the account goes on without changing it.
type Totals struct {
	FirstSequence uint64 // usable reading at which it begins
	LastSequence  uint64 // usable reading at which it ends
	FromWall      int64  // wall-clock time at which it begins, ns since 1970-01-01 UTC
	ToWall        int64  // wall-clock time at which it ends
	FromMonotonic int64  // device time at which it begins, ns
	ToMonotonic   int64  // device time at which it ends
	DurationNanos int64  // time integrated, gaps included
	AwayNanos     int64  // of it, from where an account before this one ended to the first reading; no current is assumed in it

	Readings uint64                   // usable readings
	Unusable [len(scan.Causes)]uint64 // readings not integrated, in the order of scan.Causes; one reading may count under several
	Lost     uint64                   // scans missing from the sequence

	OutMicrocoulombs    int64   // out of the pack, never negative
	InMicrocoulombs     int64   // into the pack, never negative
	OffsetMicrocoulombs int64   // what net would have read besides, had no offset been subtracted; in the sign of net
	SquareAmpereSeconds float64 // integral of the squared current

	GapCount                   uint64
	GapNanos                   int64
	GapAssumedNetMicrocoulombs int64 // sum over the gaps, each rounded
	GapBoundMicrocoulombs      int64 // sum over the gaps, each rounded

	NoiseSquareCoulombs float64 // variance of net from what is independent from reading to reading: noise, and errors of the times
	ZeroCoulombs        float64 // integral of the standard uncertainty of the zero
	GainRatio           float64 // largest relative standard uncertainty of the gain so far
}

// HeldSeconds gives the time integrated in which a current was read or assumed: all but the time away.
func (t Totals) HeldSeconds() float64 { return float64(t.DurationNanos-t.AwayNanos) * 1e-9 }

// Net gives the charge out less the charge in.
func (t Totals) Net() int64 { return t.OutMicrocoulombs - t.InMicrocoulombs }

// Throughput gives the charge out plus the charge in.
func (t Totals) Throughput() int64 { return t.OutMicrocoulombs + t.InMicrocoulombs }

// Since gives what was counted after earlier, totals of the same account. It begins at the very reading earlier ends with, so
// that one follows on the other; that reading is counted in earlier only. Whole numbers of consecutive differences add up exactly. GainRatio
// stays the largest since the account began. If earlier had no usable reading yet, the result begins where t does.
func (t Totals) Since(earlier Totals) Totals {
	if earlier.Readings > 0 {
		t.FirstSequence, t.FromWall, t.FromMonotonic = earlier.LastSequence, earlier.ToWall, earlier.ToMonotonic
	}
	t.DurationNanos -= earlier.DurationNanos
	t.AwayNanos -= earlier.AwayNanos
	t.Readings -= earlier.Readings
	for i := range t.Unusable {
		t.Unusable[i] -= earlier.Unusable[i]
	}
	t.Lost -= earlier.Lost
	t.OutMicrocoulombs -= earlier.OutMicrocoulombs
	t.InMicrocoulombs -= earlier.InMicrocoulombs
	t.OffsetMicrocoulombs -= earlier.OffsetMicrocoulombs
	t.SquareAmpereSeconds -= earlier.SquareAmpereSeconds
	t.GapCount -= earlier.GapCount
	t.GapNanos -= earlier.GapNanos
	t.GapAssumedNetMicrocoulombs -= earlier.GapAssumedNetMicrocoulombs
	t.GapBoundMicrocoulombs -= earlier.GapBoundMicrocoulombs
	t.NoiseSquareCoulombs -= earlier.NoiseSquareCoulombs
	t.ZeroCoulombs -= earlier.ZeroCoulombs
	return t
}
