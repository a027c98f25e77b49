package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
)

// readerCount is how many readers work at the same time; more wait their turn.
const readerCount = 4

// Open opens the store in a file, or makes it, with its folder, if there is none. On return the file and its name are durable. The file
// is for its owner only; a folder that is made is as well, one that exists stays as it is.
// ErrForeign, ErrNewer, ErrDamaged: the file is left as it is.
func Open(path string) (*Store, error) {
	path, err := filepath.Abs(path)
	if err != nil {
		return nil, fmt.Errorf("store %s: open: %w", path, err)
	}
	s, err := open(path)
	if err != nil {
		return nil, fmt.Errorf("store %s: open: %w", path, withRemedy(path, err))
	}
	return s, nil
}

// inMemory stands for the path of a store that has no file.
const inMemory = ":memory:"

// OpenMemory makes a store that is gone when it is closed, for offline processing. Nothing of it is durable; else it works alike,
// but for readers, which take turns with the writer.
func OpenMemory() (*Store, error) {
	s := newStore(inMemory, connect(inMemory+"?"+common, 1))
	s.readers = s.writer
	if err := errors.Join(migrate(context.Background(), s.writer), s.finish()); err != nil {
		return nil, errors.Join(s.wrap("open", err), s.Close())
	}
	return s, nil
}

func open(path string) (*Store, error) {
	if err := secure(path); errors.Is(err, os.ErrNotExist) {
		if err := create(path); err != nil {
			return nil, fmt.Errorf("create: %w", err)
		}
	} else if err != nil {
		return nil, err
	}
	found, err := look(path)
	if err != nil {
		return nil, err
	}
	if err := inspect(path, found); err != nil {
		return nil, err
	}
	s := newStore(path, connect(address(path)+common, 1))
	if err := s.start(); err != nil {
		return nil, errors.Join(err, s.Close())
	}
	return s, nil
}

// inspect refuses a file that is not ours, too new or damaged. It does so on a connection that cannot write: one that can would move the log
// into a damaged file when it closes.
func inspect(path string, found files) error {
	db := connect(readOnly(path)+common, 1)
	err := identify(db)
	if err == nil {
		err = found.check(context.Background(), db)
	}
	return errors.Join(err, db.Close())
}

// start brings the file to today's schema and makes the readers.
func (s *Store) start() error {
	if err := migrate(context.Background(), s.writer); err != nil {
		return err
	}
	if err := useLog(s.writer); err != nil {
		return err
	}
	// SQLite opens a file that it may only read without a word, and says so at the first statement that writes.
	if _, err := s.writer.Exec("UPDATE daemon SET opening = opening WHERE id = 0"); err != nil {
		return err
	}
	s.readers = connect(address(s.path)+common+"&_query_only=1", readerCount)
	return s.finish()
}

// identify refuses a file that is not ours or too new, before anything is written to it.
func identify(db *sql.DB) error {
	identity, version, err := identityOf(db)
	switch {
	case err != nil:
		return err
	case identity != applicationID:
		return fmt.Errorf("%w: application_id is %#x, not %#x", ErrForeign, identity, applicationID)
	case version > len(migrations):
		return fmt.Errorf("%w: its schema is %d, the newest known here is %d", ErrNewer, version, len(migrations))
	}
	return nil
}

// useLog sets the journal mode, which is a property of the file.
func useLog(db *sql.DB) error {
	var mode string
	if err := db.QueryRow("PRAGMA journal_mode = WAL").Scan(&mode); err != nil {
		return err
	}
	if mode != "wal" {
		return fmt.Errorf("journal mode is %q, not wal: the file system may not allow it", mode)
	}
	return nil
}
