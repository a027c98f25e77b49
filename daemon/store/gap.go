package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"unicode/utf8"
)

// Gap details one gap of an entry, whose totals contain it: a gap adds nothing to a balance.
type Gap struct {
	EntrySequence uint64 // the entry; assigned by Append
	Position      int    // in the entry, from 1; assigned by Append

	BeforeSequence     uint64 // of the device: last usable reading before it
	AfterSequence      uint64 // first usable reading after it
	FromWallNanos      int64
	FromMonotonicNanos int64
	DurationNanos      int64

	AssumedNetMicrocoulombs int64
	BoundMicrocoulombs      int64
	Causes                  []string // in words
}

// gapColumns name the columns in the order of fields.
var gapColumns = []string{
	"entry_sequence", "position", "before_sequence", "after_sequence", "from_wall_nanos", "from_monotonic_nanos", "duration_nanos",
	"assumed_net_microcoulombs", "bound_microcoulombs", "causes",
}

// fields point at the values, to be stored or to be scanned into; the causes travel as a JSON array.
func (g *Gap) fields(causes *string) []any {
	return []any{
		&g.EntrySequence, &g.Position, &g.BeforeSequence, &g.AfterSequence, &g.FromWallNanos, &g.FromMonotonicNanos, &g.DurationNanos,
		&g.AssumedNetMicrocoulombs, &g.BoundMicrocoulombs, causes,
	}
}

var insertGap = insertion("gaps", gapColumns)

// A gap counts into a span with its entry, as its charge does.
const selectGaps = `SELECT g.* FROM gaps g JOIN entries e USING (entry_sequence)
	WHERE e.conductor = :conductor AND e.channel = :channel AND ` + inSpan + `
	ORDER BY g.duration_nanos DESC, g.entry_sequence, g.position LIMIT :limit`

// Gaps gives the longest gaps, at most limit, of the entries that Balance would sum for the same span, in the order of the ledger; of
// equally long ones the earliest. It reads only what is durable. No gaps are an empty answer and no error.
func (r *Reader) Gaps(ctx context.Context, conductor, channel string, fromWall, toWall *int64, limit int) ([]Gap, error) {
	if limit < 1 {
		return nil, r.wrap("gaps", fmt.Errorf("%w: a limit of %d", ErrInvalid, limit))
	}
	gaps, err := collect(ctx, r.readers, scanGap, "SELECT * FROM ("+selectGaps+") ORDER BY entry_sequence, position",
		append(spanOf(conductor, channel, fromWall, toWall), sql.Named("limit", limit))...)
	return gaps, r.wrap("gaps", err)
}

// scanGap reads one row.
func scanGap(rows *sql.Rows) (gap Gap, err error) {
	var causes string
	if err := rows.Scan(gap.fields(&causes)...); err != nil {
		return gap, err
	}
	err = json.Unmarshal([]byte(causes), &gap.Causes)
	return gap, err
}

// validate lists every fault that would keep the gap out of the ledger for ever.
func (g *Gap) validate() error {
	var fault error
	if g.EntrySequence != 0 || g.Position != 0 {
		fault = fmt.Errorf("gap is at place %d of entry %d already", g.Position, g.EntrySequence)
	}
	for _, cause := range g.Causes {
		if !utf8.ValidString(cause) { // or the text that is chained would not be the text that is stored
			fault = errors.Join(fault, fmt.Errorf("cause %q is not UTF-8", cause))
		}
	}
	return errors.Join(fault, inRange(gapColumns, g.fields(nil)))
}

// encode writes the causes down.
func (g *Gap) encode() (string, error) {
	causes, err := json.Marshal(append([]string{}, g.Causes...))
	return string(causes), err
}
