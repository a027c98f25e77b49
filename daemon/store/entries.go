package store

import (
	"context"
	"database/sql"
	"fmt"
	"strings"
)

var selectEntries = "SELECT " + strings.Join(entryColumns, ",") + ` FROM entries
	WHERE entry_sequence > :after AND (:conductor = '' OR conductor = :conductor) ORDER BY entry_sequence LIMIT :limit`

// Entries gives at most limit entries behind an entry sequence, oldest first; an empty conductor stands for all. It reads only what is
// durable. No entries are an empty answer and no error.
func (s *Store) Entries(ctx context.Context, afterEntrySequence uint64, conductor string, limit int) ([]Entry, error) {
	if limit < 1 {
		return nil, s.wrap("entries", fmt.Errorf("%w: a limit of %d", ErrInvalid, limit))
	}
	entries, err := collect(ctx, s.readers, func(rows *sql.Rows) (entry Entry, err error) {
		err = rows.Scan(entry.fields()...)
		return entry, err
	}, selectEntries, sql.Named("after", clip(afterEntrySequence)), sql.Named("conductor", conductor), sql.Named("limit", limit))
	return entries, s.wrap("entries", err)
}

// collect runs a query and makes a value of each row.
func collect[T any](ctx context.Context, db *sql.DB, scan func(*sql.Rows) (T, error), query string, arguments ...any) (all []T, err error) {
	rows, err := db.QueryContext(ctx, query, arguments...)
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
