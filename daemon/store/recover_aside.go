package store

import (
	"crypto/sha256"
	"fmt"
	"strings"
)

// The verdicts on an entry that is kept aside.
const (
	verdictFollows = "follows on the entry before it"
	verdictBroken  = "does not follow on the entry before it"
	verdictHole    = "the entry before it is lost"
)

// listedHoles is how many holes the report names.
const listedHoles = 100

// asideWalk goes through what was read behind the new ledger's end.
type asideWalk struct {
	*rebuilding
	last   int64               // sequence
	chains [][sha256.Size]byte // of the entries that were read for it
	holes  int
	counts map[string]uint64 // by verdict
}

// aside keeps what was read behind the ledger's end, each entry with a verdict.
func (b *rebuilding) aside() error {
	behind, err := b.rows(scratchBehind, 1, int64(b.Head.EntrySequence))
	if err != nil || len(behind) == 0 {
		return err
	}
	for _, table := range []string{
		"CREATE TABLE salvaged_entries (verdict, " + strings.Join(entryColumns, ",") + ", chain)",
		"CREATE TABLE salvaged_gaps (" + strings.Join(gapColumns, ",") + ")",
	} {
		if err := b.exec(table); err != nil {
			return err
		}
	}
	w := asideWalk{rebuilding: b, last: int64(b.Head.EntrySequence), chains: [][sha256.Size]byte{b.Head.Chain}, counts: map[string]uint64{}}
	for _, row := range behind {
		if sequence, is := row[0].(int64); is {
			if err := w.place(sequence); err != nil {
				return err
			}
		}
	}
	if w.holes > listedHoles {
		b.say("and %d more holes", w.holes-listedHoles)
	}
	b.say("%d entries up to %d were read behind the ledger's end and are kept aside in salvaged_entries and salvaged_gaps: no balance counts them",
		b.AsideCount, w.last)
	for _, verdict := range []string{verdictFollows, verdictBroken, verdictHole} {
		b.say("of them %d: %s", w.counts[verdict], verdict)
	}
	return nil
}

// place keeps all that was read for one place.
func (w *asideWalk) place(sequence int64) error {
	postings, err := w.read(sequence)
	if err != nil || len(postings) == 0 {
		return err
	}
	if missing := sequence - w.last - 1; missing > 0 {
		w.hole(sequence)
	}
	var chains [][sha256.Size]byte
	for _, p := range postings {
		if err := w.keep(p, w.verdict(p)); err != nil {
			return err
		}
		if len(p.chain) == sha256.Size {
			chains = append(chains, [sha256.Size]byte(p.chain))
		}
	}
	for _, gap := range postings[0].gaps {
		if err := w.exec(insertion("salvaged_gaps", gapColumns), gap...); err != nil {
			return err
		}
	}
	w.last, w.chains = sequence, chains
	return nil
}

// hole reports what is missing before a place.
func (w *asideWalk) hole(sequence int64) {
	w.chains = nil
	if w.holes++; w.holes <= listedHoles {
		w.say("entries %d to %d are lost", w.last+1, sequence-1)
	}
}

func (w *asideWalk) verdict(p *rawPosting) string {
	rows := p.canonical()
	for _, chain := range w.chains {
		if next := link(chain, rows); string(next[:]) == string(p.chain) {
			return verdictFollows
		}
	}
	if w.chains == nil {
		return verdictHole
	}
	return verdictBroken
}

func (w *asideWalk) keep(p *rawPosting, verdict string) error {
	w.AsideCount++
	w.counts[verdict]++
	w.see(p, false)
	columns := append([]string{"verdict"}, append(append([]string{}, entryColumns...), "chain")...)
	values := append([]any{verdict}, append(append([]any{}, p.values...), p.chain)...)
	if err := w.exec(insertion("salvaged_entries", columns), values...); err != nil {
		return fmt.Errorf("entry %d: %w", p.sequence, err)
	}
	return nil
}
