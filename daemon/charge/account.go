package charge

import (
	"fmt"

	"github.com/ampledger/ampledger/daemon/scan"
)

// Account integrates one channel.
type Account struct {
	config Config
	limit  int64 // the longest interval that is no gap, ns

	seen    bool   // there was a batch
	next    uint64 // the sequence that follows on the newest batch
	pending Cause  // what happened since the last usable reading
	began   bool   // there was a usable reading
	last    knot   // the newest one

	current integral
	offset  sum // coulombs of offset subtracted, in the sign of the readings
	zero    sum // coulombs
	noise   sum // coulombs squared, without the newest reading, whose weight is still open

	counts  Totals // counts and gaps only; Totals fills in what is summed
	longest longest
	away    *Gap // from the end of an account before this one, once there was a reading
}

// knot is a usable reading as the end of one interval and the start of the next.
type knot struct {
	epoch, sequence     uint64
	wall, monotonic     int64 // ns
	parts               parts
	offset, zero, noise float64 // amperes
	weight              float64 // seconds it stands for as far as known
	timing              float64 // standard uncertainty of its time, seconds
	swing               float64 // coulombs for each second by which its time is off, as far as known
}

// New gives an account that has counted nothing.
func New(config Config) (*Account, error) {
	if err := config.validate(); err != nil {
		return nil, fmt.Errorf("charge account: %w", err)
	}
	limit := config.GapNanos
	if limit == 0 {
		limit = 1<<63 - 1
	}
	return &Account{config: config, limit: limit}, nil
}

// Apply counts a batch that follows on the one before.
func (a *Account) Apply(r *scan.Readings) {
	if r.Len() == 0 {
		return
	}
	a.follow(r)
	for k := 0; k < r.Len(); k++ {
		if a.take(r, k) {
			k = a.run(r, k)
		}
	}
}

// follow looks for scans lost before the batch. A sequence that goes back is a fault of the caller and no loss.
func (a *Account) follow(r *scan.Readings) {
	if a.seen && r.Sequence > a.next {
		a.counts.Lost += r.Sequence - a.next
		a.pending |= Lost
	}
	a.seen, a.next = true, r.Sequence+uint64(r.Len())
}

// LongestGaps gives the gaps in the order of time; beyond 1000 of them the longest, and of equally long ones the earliest.
func (a *Account) LongestGaps() []Gap { return a.longest.inOrder() }

// Away gives the gap between the end of the account before and the first usable reading; nil = there is none, or no reading yet.
func (a *Account) Away() *Gap { return a.away }

// Totals gives everything since New.
func (a *Account) Totals() Totals {
	t := a.counts
	out, in := a.current.positive, a.current.negative
	if a.config.ChargeIsPositive {
		out, in = in, out
	}
	t.OutMicrocoulombs, t.InMicrocoulombs = out.microcoulombs(), in.microcoulombs()
	t.OffsetMicrocoulombs = int64(a.config.sign()) * a.offset.microcoulombs()
	t.SquareAmpereSeconds = a.current.square.value()
	t.LastSequence, t.ToWall, t.ToMonotonic = a.last.sequence, a.last.wall, a.last.monotonic
	t.ZeroCoulombs = a.zero.value()
	t.NoiseSquareCoulombs = a.noise.value() + a.last.variance()
	return t
}
