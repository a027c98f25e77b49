package store

import (
	"context"
	"database/sql"
	"errors"
)

// ErrNoClock says that no clock was put yet.
var ErrNoClock = errors.New("no clock")

// Clock is a moment at which the daemon ran, by the machine's two clocks.
type Clock struct {
	BootID    string // names the start of the machine within which BootNanos counts
	BootNanos int64  // since that start
	WallNanos int64  // since 1970-01-01 UTC
}

// PutClock stores a clock in place of the one before. On return it is durable.
func (s *Store) PutClock(ctx context.Context, clock Clock) error {
	return s.write(ctx, "put clock", func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, "INSERT OR REPLACE INTO clock (id, boot_id, boot_nanos, wall_nanos) VALUES (1, ?, ?, ?)",
			clock.BootID, clock.BootNanos, clock.WallNanos)
		return err
	})
}

// Clock gives the newest clock that is durable. ErrNoClock: there is none.
func (r *Reader) Clock(ctx context.Context) (clock Clock, err error) {
	err = r.readers.QueryRowContext(ctx, "SELECT boot_id, boot_nanos, wall_nanos FROM clock").Scan(&clock.BootID, &clock.BootNanos, &clock.WallNanos)
	if errors.Is(err, sql.ErrNoRows) {
		err = ErrNoClock
	}
	return clock, r.wrap("clock", err)
}
