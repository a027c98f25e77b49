package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"google.golang.org/protobuf/proto"

	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

const (
	lastEntry = "SELECT coalesce(max(entry_sequence), 0) FROM entries"
	lastEvent = "SELECT coalesce(max(log_sequence), 0) FROM events"
)

var eventColumns = []string{"log_sequence", "event_id", "state", "conductor", "channel", "element", "kind", "change_wall_nanos", "event"}

var insertEvent = insertion("events", eventColumns)

const selectEvents = `SELECT event FROM events
	WHERE log_sequence > :after AND (:conductor = '' OR conductor = :conductor) ORDER BY log_sequence LIMIT :limit`

// Events gives at most limit recorded changes behind a log sequence, oldest first and as they were stored; an empty conductor stands for
// all. It reads only what is durable. No events are an empty answer and no error.
func (r *Reader) Events(ctx context.Context, afterLogSequence uint64, conductor string, limit int) ([]*ampledgerv1.Event, error) {
	if limit < 1 {
		return nil, r.wrap("events", fmt.Errorf("%w: a limit of %d", ErrInvalid, limit))
	}
	events, err := collect(ctx, r.readers, scanEvent, selectEvents,
		sql.Named("after", clip(afterLogSequence)), sql.Named("conductor", conductor), sql.Named("limit", limit))
	return events, r.wrap("events", err)
}

// Newest gives the newest entry sequence and the newest log sequence that are durable; 0 = none.
func (r *Reader) Newest(ctx context.Context) (entrySequence, logSequence uint64, err error) {
	err = r.readers.QueryRowContext(ctx, "SELECT ("+lastEntry+"), ("+lastEvent+")").Scan(&entrySequence, &logSequence)
	return entrySequence, logSequence, r.wrap("newest", err)
}

// scanEvent reads one row.
func scanEvent(rows *sql.Rows) (*ampledgerv1.Event, error) {
	var encoded sql.RawBytes
	if err := rows.Scan(&encoded); err != nil {
		return nil, err
	}
	event := new(ampledgerv1.Event)
	if err := proto.Unmarshal(encoded, event); err != nil {
		return nil, fmt.Errorf("%w: event: %w", ErrDamaged, err)
	}
	return event, nil
}

// rowOf gives an event's columns.
func rowOf(event *ampledgerv1.Event) ([]any, error) {
	encoded, err := proto.MarshalOptions{Deterministic: true}.Marshal(event)
	if err != nil {
		return nil, err
	}
	return []any{
		event.LogSequence, event.EventId, int64(event.State), event.Conductor, event.Channel, event.Element, event.Kind, event.ChangeWallNanos, encoded,
	}, nil
}

// validateEvent refuses what could never be stored.
func validateEvent(event *ampledgerv1.Event) error {
	if event == nil {
		return errors.New("no event")
	}
	if event.LogSequence != 0 {
		return fmt.Errorf("event %q has log sequence %d already", event.EventId, event.LogSequence)
	}
	if _, err := proto.Marshal(event); err != nil {
		return fmt.Errorf("event %q: %w", event.EventId, err)
	}
	return nil
}
