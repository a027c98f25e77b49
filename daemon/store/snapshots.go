package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
)

// Snapshot is an estimator's state on one conductor.
type Snapshot struct {
	Conductor string
	Plugin    string
	WallNanos int64  // when it was taken
	State     []byte // opaque; an empty one comes back as nil
}

// PutSnapshot stores a snapshot in place of the one before of the same conductor and plugin. On return it is durable, and the one before
// is gone; on an error the one before is still there. ErrInvalid: conductor or plugin is empty.
func (s *Store) PutSnapshot(ctx context.Context, snapshot Snapshot) error {
	if snapshot.Conductor == "" || snapshot.Plugin == "" {
		return s.wrap("put snapshot", fmt.Errorf("%w: snapshot of conductor %q, plugin %q", ErrInvalid, snapshot.Conductor, snapshot.Plugin))
	}
	return s.write(ctx, "put snapshot", func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, "INSERT OR REPLACE INTO snapshots (conductor, plugin, wall_nanos, state) VALUES (?, ?, ?, ?)",
			snapshot.Conductor, snapshot.Plugin, snapshot.WallNanos, append([]byte{}, snapshot.State...))
		return err
	})
}

// Snapshot gives the newest snapshot that is durable. ErrNoSnapshot: there is none.
func (r *Reader) Snapshot(ctx context.Context, conductor, plugin string) (Snapshot, error) {
	snapshot := Snapshot{Conductor: conductor, Plugin: plugin}
	err := r.readers.QueryRowContext(ctx, "SELECT wall_nanos, state FROM snapshots WHERE conductor = ? AND plugin = ?", conductor, plugin).
		Scan(&snapshot.WallNanos, &snapshot.State)
	if errors.Is(err, sql.ErrNoRows) {
		err = ErrNoSnapshot
	}
	if err != nil {
		return Snapshot{}, r.wrap(fmt.Sprintf("snapshot of %s by %s", conductor, plugin), err)
	}
	return snapshot, nil
}
