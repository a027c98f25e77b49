package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"

	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

var (
	// ErrNoEvent: no change of such an event is recorded.
	ErrNoEvent = errors.New("no such event")
	// ErrAcknowledged: the event was acknowledged before.
	ErrAcknowledged = errors.New("acknowledged already")
)

// Acknowledgement says who has seen an event.
type Acknowledgement struct {
	EventID   string
	WallNanos int64 // when it was said
	By        string
	Note      string // may be empty
}

var acknowledgementColumns = []string{"event_id", "wall_nanos", "stated_by", "note"}

var insertAcknowledgement = insertion("acknowledgements", acknowledgementColumns)

// Acknowledge stores that an event was seen. On return it is durable; it is never changed and never taken back. ErrInvalid: the event or
// who says so is not named. ErrNoEvent. ErrAcknowledged: what was said before comes with it and stands.
func (s *Store) Acknowledge(ctx context.Context, a Acknowledgement) (before *Acknowledgement, err error) {
	if a.EventID == "" || a.By == "" {
		return nil, s.wrap("acknowledge", fmt.Errorf("%w: acknowledgement of event %q by %q", ErrInvalid, a.EventID, a.By))
	}
	err = s.write(ctx, "acknowledge "+a.EventID, func(tx *sql.Tx) error {
		if _, err := eventOf(ctx, tx, a.EventID); err != nil {
			return err
		}
		found, err := acknowledged(ctx, tx, []string{a.EventID})
		if err != nil {
			return err
		}
		if len(found) > 0 {
			before = &found[0]
			return ErrAcknowledged
		}
		_, err = tx.ExecContext(ctx, insertAcknowledgement, a.row()...)
		return err
	})
	return before, err
}

// Acknowledgements gives those there are of events.
func (r *Reader) Acknowledgements(ctx context.Context, eventIDs []string) ([]Acknowledgement, error) {
	found, err := acknowledged(ctx, r.readers, eventIDs)
	return found, r.wrap("acknowledgements", err)
}

func acknowledged(ctx context.Context, from source, eventIDs []string) ([]Acknowledgement, error) {
	if len(eventIDs) == 0 {
		return nil, nil
	}
	query := "SELECT " + strings.Join(acknowledgementColumns, ",") + " FROM acknowledgements WHERE event_id IN (?" + strings.Repeat(",?", len(eventIDs)-1) + ")"
	names := make([]any, len(eventIDs))
	for i, name := range eventIDs {
		names[i] = name
	}
	return collect(ctx, from, scanAcknowledgement, query, names...)
}

func scanAcknowledgement(rows *sql.Rows) (a Acknowledgement, err error) {
	return a, rows.Scan(&a.EventID, &a.WallNanos, &a.By, &a.Note)
}

const selectUnacknowledged = `SELECT event FROM events e
	WHERE log_sequence > :after AND (:conductor = '' OR conductor = :conductor)
	AND NOT EXISTS (SELECT 1 FROM acknowledgements a WHERE a.event_id = e.event_id) ORDER BY log_sequence LIMIT :limit`

// UnacknowledgedEvents is Events without the changes of events that were acknowledged.
func (r *Reader) UnacknowledgedEvents(ctx context.Context, afterLogSequence uint64, conductor string, limit int) ([]*ampledgerv1.Event, error) {
	if limit < 1 {
		return nil, r.wrap("unacknowledged events", fmt.Errorf("%w: a limit of %d", ErrInvalid, limit))
	}
	events, err := collect(ctx, r.readers, scanEvent, selectUnacknowledged,
		sql.Named("after", clip(afterLogSequence)), sql.Named("conductor", conductor), sql.Named("limit", limit))
	return events, r.wrap("unacknowledged events", err)
}

// Event gives an event as its first recorded change has it. ErrNoEvent: there is none.
func (r *Reader) Event(ctx context.Context, eventID string) (*ampledgerv1.Event, error) {
	event, err := eventOf(ctx, r.readers, eventID)
	return event, r.wrap("event "+eventID, err)
}

func eventOf(ctx context.Context, from source, eventID string) (*ampledgerv1.Event, error) {
	events, err := collect(ctx, from, scanEvent, "SELECT event FROM events WHERE event_id = ? ORDER BY log_sequence LIMIT 1", eventID)
	if err == nil && len(events) == 0 {
		err = ErrNoEvent
	}
	if err != nil {
		return nil, err
	}
	return events[0], nil
}
