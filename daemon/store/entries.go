package store

import (
	"context"
	"database/sql"
	"fmt"
	"strings"
)

// Filter says which entries are wanted.
type Filter struct {
	Conductor string // empty = all
	Channel   string // empty = all
	Kinds     []Kind // empty = all
	FromWall  *int64 // only those that begin at or after it, wall clock in ns; nil = no limit
	ToWall    *int64 // only those that end at or before it
}

const filtered = `(:conductor = '' OR conductor = :conductor) AND (:channel = '' OR channel = :channel)
	AND (:kinds = '' OR instr(:kinds, '/' || kind || '/') > 0)`

func (f *Filter) arguments() []any {
	kinds := ""
	for _, kind := range f.Kinds {
		kinds += "/" + string(kind) + "/"
	}
	return append(spanOf(f.Conductor, f.Channel, f.FromWall, f.ToWall), sql.Named("kinds", kinds))
}

var (
	selectEntries = "SELECT " + readable(entryColumns) + ` FROM entries e
		WHERE entry_sequence > :after AND ` + filtered + " AND " + inSpan + " ORDER BY entry_sequence LIMIT :limit"
	selectGapsOf = "SELECT " + strings.Join(gapColumns, ",") + " FROM gaps WHERE entry_sequence = ? ORDER BY position"
	selectSpan   = "SELECT count(*), coalesce(min(from_wall_nanos), 0), coalesce(max(to_wall_nanos), 0) FROM entries WHERE " + filtered
)

// readable lists entry columns such that what is null comes as nothing.
func readable(columns []string) string {
	nullable := strings.NewReplacer(
		",stored_coulombs", ",coalesce(stored_coulombs, 0.0)", ",stored_uncertainty_coulombs", ",coalesce(stored_uncertainty_coulombs, 0.0)",
		",stated_by", ",coalesce(stated_by, '')", ",note", ",coalesce(note, '')", ",configuration_sha256", ",coalesce(configuration_sha256, '')")
	return nullable.Replace(strings.Join(columns, ","))
}

// Entries gives at most limit entries behind an entry sequence, oldest first. It reads only what is durable. No entries are an empty answer
// and no error.
func (r *Reader) Entries(ctx context.Context, afterEntrySequence uint64, filter Filter, limit int) ([]Entry, error) {
	if limit < 1 {
		return nil, r.wrap("entries", fmt.Errorf("%w: a limit of %d", ErrInvalid, limit))
	}
	entries, err := collect(ctx, r.readers, func(rows *sql.Rows) (entry Entry, err error) {
		err = rows.Scan(entry.fields()...)
		return entry, err
	}, selectEntries, append(filter.arguments(), sql.Named("after", clip(afterEntrySequence)), sql.Named("limit", limit))...)
	return entries, r.wrap("entries", err)
}

// GapsOf gives the gaps that an entry details, in their order.
func (r *Reader) GapsOf(ctx context.Context, entrySequence uint64) ([]Gap, error) {
	gaps, err := collect(ctx, r.readers, scanGap, selectGapsOf, clip(entrySequence))
	return gaps, r.wrap("gaps of an entry", err)
}

// Span gives from when to when, wall clock in ns, the entries reach that a filter lets through; its span does not matter.
// ErrNoEntries: there is none.
func (r *Reader) Span(ctx context.Context, filter Filter) (fromWall, toWall int64, err error) {
	var count uint64
	err = r.readers.QueryRowContext(ctx, selectSpan, filter.arguments()...).Scan(&count, &fromWall, &toWall)
	if err == nil && count == 0 {
		err = ErrNoEntries
	}
	return fromWall, toWall, r.wrap("span", err)
}

// collect runs a query and makes a value of each row.
func collect[T any](ctx context.Context, from source, scan func(*sql.Rows) (T, error), query string, arguments ...any) (all []T, err error) {
	rows, err := from.QueryContext(ctx, query, arguments...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		one, err := scan(rows)
		if err != nil {
			return nil, err
		}
		all = append(all, one)
	}
	return all, rows.Err()
}

// clip makes a column's value of a sequence that nothing can be behind.
func clip(sequence uint64) int64 { return int64(min(sequence, 1<<63-1)) }
