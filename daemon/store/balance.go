package store

import (
	"context"
	"database/sql"
	"fmt"
	"math"
	"strings"

	sqlite3 "modernc.org/sqlite/lib"
)

// Balance is the sum of the entries of one channel in a span.
type Balance struct {
	EntryCount          uint64
	NewestEntrySequence uint64
	FromWallNanos       int64  // the earliest of the entries' beginnings
	ToWallNanos         int64  // the latest of their ends
	FirstSequence       uint64 // of the readings covered; 0 if no entry covers any
	LastSequence        uint64

	Totals
	// GainCoulombs is the sum of net charge times relative uncertainty of the gain, with its sign: the gain is taken as common to all entries.
	GainCoulombs float64
}

// ThroughputMicrocoulombs is out plus in. Balance made sure that it fits.
func (b *Balance) ThroughputMicrocoulombs() int64 { return b.OutMicrocoulombs + b.InMicrocoulombs }

// inSpan takes the entries that begin at or after :from and end at or before :to; null = no limit.
const inSpan = "(:from IS NULL OR e.from_wall_nanos >= :from) AND (:to IS NULL OR e.to_wall_nanos <= :to)"

// spanOf gives the arguments of inSpan, the conductor and the channel.
func spanOf(conductor, channel string, fromWall, toWall *int64) []any {
	return []any{sql.Named("conductor", conductor), sql.Named("channel", channel), sql.Named("from", fromWall), sql.Named("to", toWall)}
}

var selectBalance = `SELECT count(*), coalesce(max(entry_sequence), 0),
	coalesce(min(from_wall_nanos), 0), coalesce(max(to_wall_nanos), 0),
	coalesce(min(first_sequence) FILTER (WHERE ` + covering + `), 0), coalesce(max(last_sequence) FILTER (WHERE ` + covering + `), 0),
	coalesce(sum(gain_ratio * 1e-6 * (out_microcoulombs - in_microcoulombs)), 0.0), ` + sums(totalColumns) + `
	FROM entries e WHERE conductor = :conductor AND channel = :channel AND ` + counting + ` AND ` + inSpan

// sums adds each column up. SQLite's sum over integers is exact or fails.
func sums(columns []string) string {
	each := make([]string, len(columns))
	for i, column := range columns {
		each[i] = "coalesce(sum(" + column + "), 0)"
	}
	return strings.Join(each, ",")
}

func (b *Balance) fields() []any {
	return append([]any{
		&b.EntryCount, &b.NewestEntrySequence, &b.FromWallNanos, &b.ToWallNanos, &b.FirstSequence, &b.LastSequence, &b.GainCoulombs,
	}, b.Totals.fields()...)
}

// Balance sums the entries of a channel that begin at or after fromWall and end at or before toWall, wall clock in ns; nil = no limit.
// Marks and configurations have no charge and do not count. It reads only what is durable, in one committed state.
// ErrNoEntries: no entry lies in the span. ErrOverflow: a sum, or out plus in, does not fit in 64 bits.
func (r *Reader) Balance(ctx context.Context, conductor, channel string, fromWall, toWall *int64) (Balance, error) {
	b, err := balanceOf(ctx, r.readers, conductor, channel, fromWall, toWall)
	if err != nil {
		return Balance{}, r.wrap(fmt.Sprintf("balance of %s/%s", conductor, channel), err)
	}
	return b, nil
}

func balanceOf(ctx context.Context, from source, conductor, channel string, fromWall, toWall *int64) (b Balance, err error) {
	err = from.QueryRowContext(ctx, selectBalance, spanOf(conductor, channel, fromWall, toWall)...).Scan(b.fields()...)
	switch {
	case code(err) == sqlite3.SQLITE_ERROR: // of a fixed query, once prepared, nothing else can fail so
		err = fmt.Errorf("%w: %w", ErrOverflow, err)
	case err == nil && b.EntryCount == 0:
		err = ErrNoEntries
	case err == nil && b.OutMicrocoulombs > math.MaxInt64-b.InMicrocoulombs:
		err = fmt.Errorf("%w: %d µC out and %d µC in", ErrOverflow, b.OutMicrocoulombs, b.InMicrocoulombs)
	}
	return b, err
}
