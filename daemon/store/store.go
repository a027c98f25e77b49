package store

import (
	"context"
	"database/sql"
	"errors"
	"sync"
)

// Store is an open store.
type Store struct {
	Reader
	writer *sql.DB // one connection
	insert inserts
	close  func() error
	room   func() (bytes uint64, err error) // free on its disk
}

// inserts are the statements that Append runs over and over.
type inserts struct{ entry, gap, event, device *sql.Stmt }

// Close ends the store; what is running fails or finishes first. Everything committed is durable already; Close moves it from the log
// into the file. A second call gives the first one's answer.
func (s *Store) Close() error { return s.close() }

// closeOnce closes the statements, the readers, then the writer, which as the last one tidies the log away.
func (s *Store) closeOnce() error {
	var faults []error
	for _, statement := range []*sql.Stmt{s.insert.entry, s.insert.gap, s.insert.event, s.insert.device} {
		if statement != nil {
			faults = append(faults, statement.Close())
		}
	}
	if s.readers != nil {
		faults = append(faults, s.readers.Close())
	}
	faults = append(faults, s.writer.Close())
	return s.wrap("close", errors.Join(faults...))
}

// finish prepares what every store needs once its file is in order.
func (s *Store) finish() error {
	for _, each := range []struct {
		to    **sql.Stmt
		query string
	}{
		{&s.insert.entry, insertEntry},
		{&s.insert.gap, insertGap},
		{&s.insert.event, insertEvent},
		{&s.insert.device, raiseDevice},
	} {
		statement, err := s.writer.Prepare(each.query)
		if err != nil {
			return err
		}
		*each.to = statement
	}
	return nil
}

// write runs do in a transaction and commits it, so that on a nil return everything is durable.
func (s *Store) write(ctx context.Context, operation string, do func(*sql.Tx) error) error {
	return s.wrap(operation, transact(ctx, s.writer, do))
}

// transact runs do in a transaction and commits it, or undoes it if do fails.
func transact(ctx context.Context, db *sql.DB, do func(*sql.Tx) error) error {
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	if err := do(tx); err != nil {
		if undo := tx.Rollback(); undo != nil && !errors.Is(undo, sql.ErrTxDone) {
			return errors.Join(err, undo)
		}
		return err
	}
	return tx.Commit()
}

// newStore gives a store around its writer.
func newStore(path string, writer *sql.DB) *Store {
	s := &Store{Reader: Reader{path: path}, writer: writer, room: func() (uint64, error) { return roomBeside(path) }}
	s.close = sync.OnceValue(s.closeOnce)
	return s
}
