package store

import (
	"context"
	"database/sql"
	"errors"
)

var selectNewest = "SELECT " + readable(entryColumns) + " FROM entries e WHERE " + filtered + " AND " + inSpan + " ORDER BY entry_sequence DESC LIMIT 1"

// NewestEntry gives the newest entry that a filter lets through, by its place in the ledger and not by any clock. It reads only what is durable.
// ErrNoEntries: there is none.
func (r *Reader) NewestEntry(ctx context.Context, filter Filter) (entry Entry, err error) {
	err = r.readers.QueryRowContext(ctx, selectNewest, filter.arguments()...).Scan(entry.fields()...)
	if errors.Is(err, sql.ErrNoRows) {
		err = ErrNoEntries
	}
	if err != nil {
		return Entry{}, r.wrap("newest entry", err)
	}
	return entry, nil
}

// Count counts a channel's entries, of whatever kind, and gives the newest one's sequence, 0 if there is none. It reads an index alone, so it
// takes a fraction of the time of Balance.
func (r *Reader) Count(ctx context.Context, conductor, channel string) (entries, newest uint64, err error) {
	err = r.readers.QueryRowContext(ctx, "SELECT count(*), coalesce(max(entry_sequence), 0) FROM entries WHERE conductor = ? AND channel = ?", conductor, channel).
		Scan(&entries, &newest)
	return entries, newest, r.wrap("count", err)
}

// Away gives how long, in all, nothing was counted on a channel because the daemon was away: the gap entries' duration, in ns.
func (r *Reader) Away(ctx context.Context, conductor, channel string) (nanos int64, err error) {
	err = r.readers.QueryRowContext(ctx, "SELECT coalesce(sum(duration_nanos), 0) FROM entries WHERE conductor = ? AND channel = ? AND kind = 'gap'", conductor, channel).
		Scan(&nanos)
	return nanos, r.wrap("time away", err)
}
