package store

import (
	"errors"
	"fmt"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// Opening.
var (
	// ErrForeign: the file is not one of ours.
	ErrForeign = errors.New("not an ampledger store")
	// ErrNewer: a newer version of the program wrote the file.
	ErrNewer = errors.New("written by a newer version")
	// ErrOlder: an older version of the program wrote the file, and it was opened to be read only.
	ErrOlder = errors.New("written by an older version")
	// ErrDamaged: the file, or a part of it that was read, is not as it was written.
	ErrDamaged = errors.New("damaged")
)

// Writing.
var (
	// ErrInvalid: what was to be stored can never be stored.
	ErrInvalid = errors.New("cannot be stored")
	// ErrSequenceInUse: the sequence to be released is in the ledger.
	ErrSequenceInUse = errors.New("sequence is in use")
)

// Reading.
var (
	// ErrNoEntries: no entry lies in the span, or has the sequence.
	ErrNoEntries = errors.New("no entries")
	// ErrNoSnapshot: none was stored for that conductor and plugin.
	ErrNoSnapshot = errors.New("no snapshot")
	// ErrOverflow: a sum does not fit in 64 bits.
	ErrOverflow = errors.New("sum overflows")
)

// Recording.
var (
	// ErrQueueFull: the recorder's queue had no place.
	ErrQueueFull = errors.New("queue is full")
	// ErrEnded: the recorder takes nothing more.
	ErrEnded = errors.New("recorder has ended")
	// ErrNotDrained: the recorder ended with something in its queue.
	ErrNotDrained = errors.New("not everything was recorded")
)

// wrap puts file and operation in front, marks damage and says what to do about it.
func (r *Reader) wrap(operation string, err error) error {
	if err == nil {
		return nil
	}
	if r.path == inMemory {
		return fmt.Errorf("store %s: %s: %w", r.path, operation, mark(err))
	}
	return fmt.Errorf("store %s: %s: %w", r.path, operation, withRemedy(r.path, err))
}

// mark adds ErrForeign or ErrDamaged where SQLite says so, and nobody has yet.
func mark(err error) error {
	if errors.Is(err, ErrForeign) || errors.Is(err, ErrDamaged) {
		return err
	}
	switch code(err) {
	case sqlite3.SQLITE_NOTADB:
		return fmt.Errorf("%w: %w", ErrForeign, err)
	case sqlite3.SQLITE_CORRUPT:
		return fmt.Errorf("%w: %w", ErrDamaged, err)
	}
	return err
}

// code gives SQLite's primary result code, or 0 if the error is not SQLite's.
func code(err error) int {
	if failure, ok := errors.AsType[*sqlite.Error](err); ok {
		return failure.Code() & 0xff
	}
	return 0
}

// withRemedy says what to do about a file that is damaged, or so damaged that it does not look like ours any more, and where to look if it
// cannot be written to.
func withRemedy(path string, err error) error {
	err = mark(err)
	if errors.Is(err, ErrDamaged) || errors.Is(err, ErrForeign) {
		return fmt.Errorf("%w; if it held a ledger, `ampledger recover %s OUT` saves what can be read", err, path)
	}
	switch code(err) {
	case sqlite3.SQLITE_IOERR:
		return fmt.Errorf("%w: the disk is full or failing", err)
	case sqlite3.SQLITE_READONLY:
		return fmt.Errorf("%w: the file, its folder or its file system may only be read, or the file's header is damaged", err)
	case sqlite3.SQLITE_CANTOPEN:
		return fmt.Errorf("%w: look whether this user may read and write the file and its folder", err)
	}
	return err
}
