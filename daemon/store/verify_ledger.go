package store

import (
	"cmp"
	"crypto/sha256"
	"database/sql"
	"errors"
	"maps"
	"slices"
)

// verifyEvery is how many entries are read from one report of progress to the next.
const verifyEvery = 1000

// ledgerWalk is what has to be known of the entries before to judge the next one.
type ledgerWalk struct {
	*verifying
	of       uint64 // entries there are
	next     int64  // sequence
	previous chainEnds
	sums     map[account]*accountSum
	used     map[string]int64 // by device, the first sequence that no entry covers
}

// chainEnds is the end of the chain before an entry.
type chainEnds struct {
	stored   [sha256.Size]byte // as the row before says
	computed [sha256.Size]byte // as it should say; differs only if that row is at fault
	known    bool              // the row before is there
	sound    bool              // and not at fault
}

// ledger walks entries and gap rows and then compares what they add up to.
func (v *verifying) ledger() error {
	w := ledgerWalk{verifying: v, next: 1, sums: map[account]*accountSum{}, used: map[string]int64{}}
	w.previous.known, w.previous.sound = true, true
	err := v.from.QueryRowContext(v.ctx, "SELECT count(*) FROM entries").Scan(&w.of)
	if err = v.damage(err, Fault{}); err != nil {
		return err
	}
	err = eachPosting(v.ctx, v.from, w.visit)
	if errors.Is(mark(err), ErrDamaged) { // the sums could not be compared any more
		return v.damage(err, Fault{EntrySequence: w.next})
	}
	return cmp.Or(err, w.compareSums(), w.compareUsed())
}

func (w *ledgerWalk) visit(p *rawPosting) error {
	w.place(p)
	if p.values == nil {
		return nil
	}
	w.chained(p)
	w.gaps(p)
	w.add(p)
	w.found.EntryCount++
	w.found.Head = Head{EntrySequence: uint64(p.sequence), Chain: w.previous.stored}
	if w.progress != nil && w.found.EntryCount%verifyEvery == 0 {
		w.progress(w.found.EntryCount, w.of)
	}
	return nil
}

// place holds an entry's sequence against the one that should come.
func (w *ledgerWalk) place(p *rawPosting) {
	at := Fault{EntrySequence: p.sequence}
	if p.values == nil {
		at.GapPosition, _ = p.gaps[0][1].(int64)
		w.verifying.add(at, "gap row of an entry that is not there")
		return
	}
	switch missing := p.sequence - w.next; {
	case p.sequence < 1:
		w.verifying.add(at, "stands before the first place")
		return
	case missing == 1:
		w.verifying.add(Fault{EntrySequence: w.next}, "is missing")
	case missing > 1:
		w.verifying.add(Fault{EntrySequence: w.next}, "is missing, and all up to %d", p.sequence-1)
	}
	w.previous.known = w.previous.known && p.sequence == w.next
	w.next = p.sequence + 1
}

// chained holds an entry and its gap rows against the chain.
func (w *ledgerWalk) chained(p *rawPosting) {
	before := w.previous
	rows := p.canonical()
	w.previous = chainEnds{computed: link(before.stored, rows), known: true}
	copy(w.previous.stored[:], p.chain)
	at := Fault{EntrySequence: p.sequence}
	switch {
	case len(p.chain) != sha256.Size:
		w.verifying.add(at, "has no chain")
	case before.known && w.previous.computed == w.previous.stored,
		before.known && !before.sound && link(before.computed, rows) == w.previous.stored:
		w.previous.computed, w.previous.sound = w.previous.stored, true
	case !before.known:
		w.previous.computed, w.previous.sound = w.previous.stored, true // go on from here
		w.verifying.add(at, "cannot be checked: what it was chained to is missing")
	case !before.sound:
		w.verifying.add(at, "does not follow on the one before, which is at fault itself")
	default:
		w.verifying.add(at, "is not as it was chained: it, its gap rows or its place was changed, or it was put there")
	}
}

// gaps looks at the gap rows' places and number.
func (w *ledgerWalk) gaps(p *rawPosting) {
	for i, gap := range p.gaps {
		if position, _ := gap[1].(int64); position != int64(i+1) {
			w.verifying.add(Fault{EntrySequence: p.sequence, GapPosition: int64(i + 1)}, "is missing or out of place")
			return
		}
	}
	if count, _ := p.values[columnGapCount].(int64); count < int64(len(p.gaps)) {
		w.verifying.add(Fault{EntrySequence: p.sequence}, "has %d gap rows and counts %d", len(p.gaps), count)
	}
}

// compareUsed finds entries cut off at the end: the devices' rows say how far entries reached.
func (w *ledgerWalk) compareUsed() error {
	stored := map[string]int64{}
	_, err := collect(w.ctx, w.from, func(rows *sql.Rows) (none struct{}, err error) {
		var device string
		var used int64
		if err = rows.Scan(&device, &used); err == nil {
			stored[device] = used
		}
		return none, err
	}, "SELECT device, used_next FROM devices")
	if err != nil {
		return err
	}
	for device := range w.used {
		stored[device] += 0 // so that one without a row is looked at
	}
	for _, device := range slices.Sorted(maps.Keys(stored)) {
		switch got, want := w.used[device], stored[device]; {
		case got < want:
			w.verifying.add(Fault{}, "device %s: entries reach sequence %d, they reached %d: newest entries were cut off or changed", device, got-1, want-1)
		case got > want:
			w.verifying.add(Fault{}, "device %s: entries reach sequence %d, which could be used again from %d", device, got-1, want)
		}
	}
	return nil
}
