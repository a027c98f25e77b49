package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"path/filepath"
)

// Reader reads a store. Every method of a Store that only reads is a Reader's.
type Reader struct {
	path    string  // as in messages
	readers *sql.DB // a few connections that cannot write; a Store in memory has only its writer
}

// source is what can be asked: a database, or a transaction, which sees one state of it.
type source interface {
	QueryContext(ctx context.Context, query string, arguments ...any) (*sql.Rows, error)
	QueryRowContext(ctx context.Context, query string, arguments ...any) *sql.Row
}

// OpenReader opens a file to be read only, whether a daemon works on it or not. It writes nothing to it and never migrates it.
// ErrForeign, ErrNewer, ErrDamaged: as Open says. ErrOlder: of a schema that was before the chain.
func OpenReader(path string) (*Reader, error) {
	path, err := filepath.Abs(path)
	if err != nil {
		return nil, fmt.Errorf("store %s: open: %w", path, err)
	}
	found, err := look(path)
	if err != nil {
		return nil, fmt.Errorf("store %s: open: %w", path, err)
	}
	r := &Reader{path: path, readers: connect(readAddress(path, found), readerCount)}
	if err := r.start(found); err != nil {
		return nil, errors.Join(r.wrap("open", err), r.Close())
	}
	return r, nil
}

// start refuses what cannot be read as today's schema.
func (r *Reader) start(found files) error {
	if err := identify(r.readers); err != nil {
		return err
	}
	_, version, err := identityOf(r.readers)
	if err == nil && version < len(migrations) {
		err = fmt.Errorf("%w: its schema is %d, not %d; a daemon of this version brings it up to date when it starts", ErrOlder, version, len(migrations))
	}
	if err != nil || found.log {
		return err
	}
	return found.checkLength(r.readers) // Verify looks at the rest
}

// Path gives the file's absolute path, or ":memory:".
func (r *Reader) Path() string { return r.path }

// Close ends the reading.
func (r *Reader) Close() error { return r.wrap("close", r.readers.Close()) }

// Identity gives the file's own name: 16 random bytes from when it was made, or brought to schema 2.
func (r *Reader) Identity(ctx context.Context) (identity [16]byte, err error) {
	var stored []byte
	err = r.readers.QueryRowContext(ctx, "SELECT identity FROM daemon").Scan(&stored)
	if err == nil && len(stored) != len(identity) {
		err = fmt.Errorf("%w: identity of %d bytes", ErrDamaged, len(stored))
	}
	copy(identity[:], stored)
	return identity, r.wrap("identity", err)
}
