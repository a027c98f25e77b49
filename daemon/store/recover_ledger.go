package store

import (
	"crypto/sha256"
	"database/sql"
	"fmt"
	"strings"
)

var (
	scratchEntry  = "SELECT DISTINCT " + strings.Join(entryColumns, ",") + ", chain FROM scratch.entries WHERE entry_sequence = ?"
	scratchGaps   = "SELECT DISTINCT " + strings.Join(gapColumns, ",") + " FROM scratch.gaps WHERE entry_sequence = ? ORDER BY position"
	scratchBehind = "SELECT DISTINCT entry_sequence FROM scratch.entries WHERE entry_sequence > ? ORDER BY 1"
)

// ledger takes the longest run of entries over that is as it was chained.
func (b *rebuilding) ledger() error {
	for {
		candidates, err := b.read(int64(b.Head.EntrySequence) + 1)
		if err != nil {
			return err
		}
		next := b.genuine(candidates)
		if next == nil {
			break
		}
		if err := b.take(next); err != nil {
			return err
		}
	}
	switch {
	case b.Head.EntrySequence == 0:
		b.say("no entry could be taken over: the first one is lost or not as it was chained")
	case b.chained:
		b.say("entries 1 to %d are as they were chained; the chain ends with %v", b.Head.EntrySequence, b.Head)
	default:
		b.say("entries 1 to %d were read without a hole; the file has no chain to hold them against, now they have: %v", b.Head.EntrySequence, b.Head)
	}
	return nil
}

// read gives all that was read for a place in the ledger: one posting, most often.
func (b *rebuilding) read(sequence int64) ([]*rawPosting, error) {
	entries, err := b.rows(scratchEntry, len(entryColumns)+1, sequence)
	if err != nil || len(entries) == 0 {
		return nil, err
	}
	gaps, err := b.rows(scratchGaps, len(gapColumns), sequence)
	var all []*rawPosting
	for _, values := range entries {
		last := len(values) - 1
		chain, chained := values[last].([]byte)
		if chained == b.chained { // else a page that was left from before the chain
			all = append(all, &rawPosting{sequence: sequence, values: values[:last], chain: chain, gaps: gaps})
		}
	}
	return all, err
}

// rows runs a query of the scratch tables.
func (b *rebuilding) rows(query string, columns int, sequence int64) ([][]any, error) {
	return collect(b.ctx, b.tx, func(rows *sql.Rows) ([]any, error) {
		values, places := make([]any, columns), make([]any, columns)
		for i := range values {
			places[i] = &values[i]
		}
		return values, rows.Scan(places...)
	}, query, sequence)
}

// genuine picks the posting that follows on the chain; nil = none does.
func (b *rebuilding) genuine(candidates []*rawPosting) *rawPosting {
	for _, p := range candidates {
		chain := link(b.Head.Chain, p.canonical())
		if !b.chained && len(candidates) == 1 {
			p.chain = chain[:]
		}
		if string(p.chain) == string(chain[:]) {
			return p
		}
	}
	return nil
}

// take puts a posting into the new ledger.
func (b *rebuilding) take(p *rawPosting) error {
	if err := b.exec(insertEntry, append(p.values, p.chain)...); err != nil {
		return fmt.Errorf("entry %d: %w", p.sequence, err)
	}
	for _, gap := range p.gaps {
		if err := b.exec(insertGap, gap...); err != nil {
			return fmt.Errorf("entry %d: %w", p.sequence, err)
		}
	}
	b.Head = Head{uint64(p.sequence), [sha256.Size]byte(p.chain)}
	b.see(p, true)
	return nil
}

// see notes which sequences of its device a posting names; only what is in the ledger counts as used.
func (b *rebuilding) see(p *rawPosting, inLedger bool) {
	kind, _ := p.values[columnKind].(string)
	name, _ := p.values[columnDevice].(string)
	last, _ := p.values[columnLast].(int64)
	epoch, _ := p.values[columnEpoch].(int64)
	seen := device{epoch: epoch}
	if Kind(kind).covers() && last < mostCounted {
		seen.held = last + 1
		if inLedger {
			seen.used = last + 1
		}
	}
	b.devices[name] = b.devices[name].beyond(seen)
}

// say adds a line to the report.
func (b *rebuilding) say(text string, values ...any) {
	b.Lines = append(b.Lines, fmt.Sprintf(text, values...))
}
