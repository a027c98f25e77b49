package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"

	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// rules are queries that count what must not be.
var rules = []struct{ fault, query string }{
	{"holes in the entry sequence", "SELECT coalesce(max(entry_sequence), 0) - count(*) FROM entries"},
	{"holes in the log sequence", "SELECT coalesce(max(log_sequence), 0) - count(*) FROM events"},
	{"gaps without an entry", "SELECT count(*) FROM gaps WHERE entry_sequence NOT IN (SELECT entry_sequence FROM entries)"},
	{"entries with more gaps than they count", `SELECT count(*) FROM entries e
		WHERE gap_count < (SELECT count(*) FROM gaps g WHERE g.entry_sequence = e.entry_sequence)`},
	{"entries whose gaps have holes", `SELECT count(*) FROM (SELECT 1 FROM gaps GROUP BY entry_sequence HAVING max(position) <> count(*))`},
	{"entries whose device could use their sequences again", `SELECT count(*) FROM entries
		LEFT JOIN devices USING (device) WHERE kind <> 'opening' AND coalesce(used_next, 0) <= last_sequence`},
}

// Check reads the whole store and lists what is wrong with it: pages, indexes, references, holes in sequences, events that differ from
// their columns. It changes nothing and takes the longer the more is stored. ErrDamaged: something is wrong.
func (s *Store) Check(ctx context.Context) error {
	faults := []error{pragmaCheck(ctx, s.readers, "integrity_check"), s.checkReferences(ctx)}
	for _, rule := range rules {
		var count int64
		err := s.readers.QueryRowContext(ctx, rule.query).Scan(&count)
		if err == nil && count != 0 {
			err = fmt.Errorf("%w: %s: %d", ErrDamaged, rule.fault, count)
		}
		faults = append(faults, err)
	}
	_, err := collect(ctx, s.readers, checkEvent, `SELECT log_sequence, event_id, state, conductor, channel, element, kind, change_wall_nanos, event
		FROM events`)
	return s.wrap("check", errors.Join(append(faults, err)...))
}

// pragmaCheck runs one of SQLite's own checks, which answer with one row "ok" or with faults.
func pragmaCheck(ctx context.Context, db *sql.DB, pragma string) error {
	lines, err := collect(ctx, db, func(rows *sql.Rows) (line string, err error) {
		err = rows.Scan(&line)
		return line, err
	}, "PRAGMA "+pragma)
	if err == nil && (len(lines) != 1 || lines[0] != "ok") {
		err = fmt.Errorf("%w: %s", ErrDamaged, strings.Join(lines, "; "))
	}
	return err
}

// checkReferences looks for rows that refer to nothing.
func (s *Store) checkReferences(ctx context.Context) error {
	var count int64
	err := s.readers.QueryRowContext(ctx, "SELECT count(*) FROM pragma_foreign_key_check").Scan(&count)
	if err == nil && count != 0 {
		err = fmt.Errorf("%w: references to nothing: %d", ErrDamaged, count)
	}
	return err
}

// checkEvent holds an event against its columns.
func checkEvent(rows *sql.Rows) (struct{}, error) {
	var stored ampledgerv1.Event
	var encoded []byte
	if err := rows.Scan(&stored.LogSequence, &stored.EventId, &stored.State, &stored.Conductor, &stored.Channel, &stored.Element, &stored.Kind,
		&stored.ChangeWallNanos, &encoded); err != nil {
		return struct{}{}, err
	}
	var event ampledgerv1.Event
	if err := proto.Unmarshal(encoded, &event); err != nil {
		return struct{}{}, fmt.Errorf("%w: event %d: %w", ErrDamaged, stored.LogSequence, err)
	}
	columns, err := rowOf(&event)
	if err != nil {
		return struct{}{}, err
	}
	want, err := rowOf(&stored)
	if err != nil {
		return struct{}{}, err
	}
	last := len(want) - 1
	if !slices.Equal(columns[:last], want[:last]) {
		return struct{}{}, fmt.Errorf("%w: event %d differs from its columns", ErrDamaged, stored.LogSequence)
	}
	return struct{}{}, nil
}
