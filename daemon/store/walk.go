package store

import (
	"context"
	"database/sql"
	"strings"
)

var (
	selectRawEntries = "SELECT " + strings.Join(entryColumns, ",") + ", chain FROM entries ORDER BY entry_sequence"
	selectRawGaps    = "SELECT " + strings.Join(gapColumns, ",") + " FROM gaps ORDER BY entry_sequence, position"
)

// rawPosting is an entry with its gap rows as the file holds them, good for one visit. Without values it is gap rows whose entry is not
// there.
type rawPosting struct {
	sequence int64
	values   []any // by column number, less the chain
	chain    []byte
	gaps     [][]any

	bytes []byte // the canonical ones, room to be used again
}

// canonical gives what is chained.
func (p *rawPosting) canonical() []byte {
	p.bytes = appendRow(p.bytes[:0], tagEntry, p.values)
	for _, gap := range p.gaps {
		p.bytes = appendRow(p.bytes, tagGap, gap)
	}
	return p.bytes
}

// eachPosting visits the ledger in the order of its sequence.
func eachPosting(ctx context.Context, from source, visit func(*rawPosting) error) error {
	entries, err := openCursor(ctx, from, selectRawEntries, len(entryColumns)+1)
	if err != nil {
		return err
	}
	defer entries.rows.Close()
	gaps, err := openCursor(ctx, from, selectRawGaps, len(gapColumns))
	if err != nil {
		return err
	}
	defer gaps.rows.Close()
	var posting rawPosting
	for posting.take(entries, gaps) {
		if err := visit(&posting); err != nil {
			return err
		}
		if entries.err != nil || gaps.err != nil {
			break
		}
	}
	if entries.err != nil {
		return entries.err
	}
	return gaps.err
}

// take reads the next posting off two cursors; false = there is none.
func (p *rawPosting) take(entries, gaps *cursor) bool {
	p.values, p.chain, p.gaps = nil, nil, p.gaps[:0]
	switch {
	case entries.err != nil || gaps.err != nil || !entries.more && !gaps.more:
		return false
	case entries.more && (!gaps.more || entries.sequence() <= gaps.sequence()):
		p.sequence = entries.sequence()
		last := len(entryColumns)
		p.values = append([]any(nil), entries.values[:last]...)
		p.chain, _ = entries.values[last].([]byte)
		entries.next()
	default:
		p.sequence = gaps.sequence()
	}
	for gaps.more && gaps.sequence() == p.sequence {
		p.gaps = append(p.gaps, append([]any(nil), gaps.values...))
		gaps.next()
	}
	return gaps.err == nil
}

// cursor stands on a row, its sequence first, or behind the last.
type cursor struct {
	rows   *sql.Rows
	values []any
	places []any
	more   bool
	err    error
}

func openCursor(ctx context.Context, from source, query string, columns int) (*cursor, error) {
	rows, err := from.QueryContext(ctx, query)
	if err != nil {
		return nil, err
	}
	c := &cursor{rows: rows, values: make([]any, columns), places: make([]any, columns)}
	for i := range c.values {
		c.places[i] = &c.values[i]
	}
	c.next()
	return c, nil
}

func (c *cursor) next() {
	if c.more = c.rows.Next(); !c.more {
		c.err = c.rows.Err()
		return
	}
	c.err = c.rows.Scan(c.places...)
}

// sequence is the row's first column, a key and so an integer.
func (c *cursor) sequence() int64 {
	sequence, _ := c.values[0].(int64)
	return sequence
}
