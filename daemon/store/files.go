package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
)

// FileName is what a store is called in a daemon's state folder.
const FileName = "ampledger.sqlite"

const (
	logSuffix = "-wal" // what SQLite appends for the log beside the file
	newSuffix = ".new" // of a file that is not complete yet
)

// files is what was found on disk before SQLite touched it.
type files struct {
	bytes int64 // length of the file
	log   bool  // a log that was not tidied away: the last owner did not close
}

// look measures the files. It does not open them: closing would drop the locks that another Store of this process has on the file.
func look(path string) (files, error) {
	file, err := os.Stat(path)
	if err != nil {
		return files{}, err
	}
	log, err := os.Stat(path + logSuffix)
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		return files{}, err
	}
	return files{file.Size(), log != nil && log.Size() > 0}, nil
}

// check looks for damage that SQLite would find only when it comes to it: every page after a crash, else the length and the pages of all tables but those of
// waveforms, which are the large ones and which nothing depends on.
func (f files) check(ctx context.Context, db *sql.DB) error {
	if f.log {
		return pragmaCheck(ctx, db, "quick_check(1)")
	}
	if err := f.checkLength(db); err != nil {
		return err
	}
	tables, err := collect(ctx, db, func(rows *sql.Rows) (name string, err error) { return name, rows.Scan(&name) },
		"SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT IN ('waveforms', 'waveform_frames')")
	for _, name := range tables {
		if err == nil {
			err = pragmaCheck(ctx, db, "quick_check("+name+")")
		}
	}
	return err
}

// checkLength tells a file that was cut off.
func (f files) checkLength(db *sql.DB) error {
	var pages, size int64
	if err := errors.Join(db.QueryRow("PRAGMA page_count").Scan(&pages), db.QueryRow("PRAGMA page_size").Scan(&size)); err != nil {
		return err
	}
	if f.bytes < pages*size {
		return fmt.Errorf("%w: cut off: %d bytes of %d", ErrDamaged, f.bytes, pages*size)
	}
	return nil
}

// secure takes the file away from everyone but its owner. os.ErrNotExist: there is none.
func secure(path string) error {
	file, err := os.Stat(path)
	if err != nil {
		return err
	}
	switch {
	case !file.Mode().IsRegular():
		return fmt.Errorf("%w: not a regular file", ErrForeign)
	case file.Size() == 0:
		return fmt.Errorf("%w: the file is empty", ErrDamaged)
	case file.Mode().Perm()&^0o600 != 0:
		return os.Chmod(path, file.Mode().Perm()&0o600)
	}
	return nil
}

// create builds an empty store under another name and renames it when it is complete.
func create(path string) error {
	if _, err := os.Stat(path + logSuffix); !errors.Is(err, os.ErrNotExist) {
		return fmt.Errorf("%w: the file is gone but its log %s is there", ErrDamaged, filepath.Base(path)+logSuffix)
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return err
	}
	unfinished := path + newSuffix
	if err := discard(unfinished); err != nil {
		return err
	}
	if err := build(unfinished); err != nil {
		return err
	}
	if err := os.Rename(unfinished, path); err != nil {
		return err
	}
	return syncFolder(filepath.Dir(path))
}

// discard removes a file and what SQLite may have put beside it.
func discard(path string) error {
	for _, suffix := range []string{"", "-journal", logSuffix, "-shm"} {
		if err := os.Remove(path + suffix); err != nil && !errors.Is(err, os.ErrNotExist) {
			return err
		}
	}
	return nil
}

// build makes an empty store and closes it.
func build(path string) error {
	file, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_RDWR, 0o600)
	if err != nil {
		return err
	}
	if err := file.Close(); err != nil {
		return err
	}
	db := connect(address(path)+common, 1)
	if err := migrate(context.Background(), db); err != nil {
		return errors.Join(err, db.Close())
	}
	return errors.Join(useLog(db), db.Close())
}

// syncFolder makes the names in a folder durable.
func syncFolder(path string) error {
	folder, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(folder.Sync(), folder.Close())
}
