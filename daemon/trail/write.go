package trail

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"go.uber.org/zap"
	"google.golang.org/protobuf/proto"

	"github.com/ampledger/ampledger/daemon/comparison"
)

const (
	retryAfter = 5 * time.Second
	pruneEvery = time.Hour
)

// Run writes what is taken until ctx ends, and then what is left, once. What cannot be written is tried again; what cannot be written at the end
// is its error.
func (t *Trail) Run(ctx context.Context) error {
	retry := time.NewTimer(retryAfter)
	defer retry.Stop()
	retry.Stop()
	for failing := false; ; {
		select {
		case <-ctx.Done():
			return t.Flush(context.WithoutCancel(ctx))
		case <-retry.C:
		case <-t.wake:
			if failing {
				continue // the timer will
			}
		}
		if failing = t.try(ctx); failing {
			retry.Reset(retryAfter)
		}
	}
}

func (t *Trail) try(ctx context.Context) (failing bool) {
	err := t.Flush(ctx)
	if err != nil && ctx.Err() == nil {
		t.config.Log.Error("what estimators said is not recorded; it waits", zap.Error(err))
	}
	return err != nil
}

// Flush writes what waits. It is Run's, and a test's.
func (t *Trail) Flush(ctx context.Context) error {
	t.mu.Lock()
	waiting, lost := t.queue[:len(t.queue):len(t.queue)], t.lost
	t.mu.Unlock()
	if err := t.write(ctx, waiting); err != nil {
		return err
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.queue = t.queue[len(waiting):]; len(t.queue) == 0 {
		t.queue = nil
	}
	if t.lost -= lost; lost > 0 {
		t.config.Log.Warn("estimates were left out of the record: it could not be written for too long", zap.Uint64("records", lost))
	}
	return nil
}

func (t *Trail) write(ctx context.Context, records []*comparison.Record) error {
	if len(records) == 0 {
		return nil
	}
	bytes := uint64(0)
	for _, r := range records {
		bytes += uint64(proto.Size(r))
	}
	if t.config.Room != nil {
		if err := t.config.Room(bytes); err != nil {
			return fmt.Errorf("trail: %w", err)
		}
	}
	tx, err := t.db.BeginTx(ctx, nil)
	if err != nil {
		return fmt.Errorf("trail: %w", err)
	}
	if err := t.insert(ctx, tx, records); err != nil {
		return fmt.Errorf("trail: %w", errors.Join(err, tx.Rollback()))
	}
	if err := tx.Commit(); err != nil {
		return fmt.Errorf("trail: %w", err)
	}
	return nil
}

func (t *Trail) insert(ctx context.Context, tx *sql.Tx, records []*comparison.Record) error {
	for _, r := range records {
		encoded, err := proto.MarshalOptions{Deterministic: true}.Marshal(r)
		if err != nil {
			return err
		}
		// One that is there already was said again by an estimator that was started again: the newest word stands.
		if _, err := tx.ExecContext(ctx, "INSERT OR REPLACE INTO records VALUES (?, ?, ?, ?, ?, ?, ?)", r.GetConductor(), r.GetWallNanos(),
			r.GetShadow(), int64(r.GetOpeningSequence()), r.GetDevice(), int64(r.GetThroughSequence()), encoded); err != nil {
			return err
		}
	}
	now := t.config.Now()
	if now.Sub(t.pruned) < pruneEvery {
		return nil
	}
	t.pruned = now
	_, err := tx.ExecContext(ctx, "DELETE FROM records WHERE wall_nanos < ?", now.Add(-t.config.Keep).UnixNano())
	return err
}

// scanRecord reads one row.
func scanRecord(rows *sql.Rows) (*comparison.Record, error) {
	var encoded sql.RawBytes
	if err := rows.Scan(&encoded); err != nil {
		return nil, fmt.Errorf("trail: %w", err)
	}
	record := new(comparison.Record)
	if err := proto.Unmarshal(encoded, record); err != nil {
		return nil, fmt.Errorf("trail: a record is damaged: %w", err)
	}
	return record, nil
}
