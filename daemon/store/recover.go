package store

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
)

// Recovery is what Recover saved and what it could not.
type Recovery struct {
	Head       Head     // the new ledger's end: every entry up to it is as it was chained
	AsideCount uint64   // entries that could be read behind it, which are kept aside
	EventCount uint64   // events saved
	LostCount  uint64   // events in whose place the log says that they are lost
	SeenCount  uint64   // acknowledgements saved
	Lines      []string // all of it in words, and what else there is to say; they stand in the new file's table recovery as well
}

// Recover makes a new store at to of what can be read of a damaged one at from and of its log; no daemon may work on it. The file from is
// only read, and nothing may be at to. On return the new file is durable and passes Verify. It holds
//
//   - as its ledger the longest run of entries from the first that is as it was chained, each with its chain, so a Head that was
//     written down for one of them still holds;
//   - in the tables salvaged_entries and salvaged_gaps what could be read behind that: no balance counts it, and each entry says whether it
//     follows on the one before it. What is missing between cannot be known, so it is for an auditor to judge;
//   - the events, with one that says so in the place of each that could not be read, so that no log sequence changes its meaning;
//   - the acknowledgements of those events; in the table salvaged_acknowledgements those that cannot stand in the log, such as of a lost event;
//   - the records of commissioning, with one that says so in the place of each that could not be read, up to the last that the ledger names;
//   - the devices' sequences and epochs and the count of starts, all raised beyond what may have been given out.
//
// Estimators' snapshots, waveforms with their frames and the clock are left behind, counted in Lines: nothing can tell whether they are as they
// were written. A file of schema 1 has no chain; of it the longest run without a hole becomes the ledger. progress, which may be nil, hears
// now and then how many pages are read.
// ErrForeign: not one row of ours was found. os.ErrExist: something is at to, or at to with .new behind it, where the file is built.
func Recover(ctx context.Context, from, to string, progress func(done, of uint64)) (*Recovery, error) {
	recovery, err := recoverTo(ctx, from, to, progress)
	if err != nil {
		return nil, fmt.Errorf("recover %s: %w", from, err)
	}
	return recovery, nil
}

func recoverTo(ctx context.Context, from, to string, progress func(done, of uint64)) (*Recovery, error) {
	to, err := filepath.Abs(to)
	if err != nil {
		return nil, err
	}
	unfinished := to + newSuffix
	if err := absent(to, to+logSuffix, unfinished); err != nil {
		return nil, err
	}
	damaged, err := openDamaged(from)
	if err != nil {
		return nil, err
	}
	recovery, err := rebuild(ctx, damaged, unfinished, progress)
	if err = errors.Join(err, damaged.close()); err != nil {
		return nil, errors.Join(err, discard(unfinished))
	}
	if err := os.Rename(unfinished, to); err != nil {
		return nil, errors.Join(err, discard(unfinished))
	}
	return recovery, syncFolder(filepath.Dir(to))
}

// absent refuses names that something stands under.
func absent(names ...string) error {
	for _, name := range names {
		if _, err := os.Lstat(name); err == nil {
			return fmt.Errorf("%s: %w", name, os.ErrExist)
		} else if !errors.Is(err, os.ErrNotExist) {
			return err
		}
	}
	return nil
}

// rebuild makes a store and fills it.
func rebuild(ctx context.Context, from *damaged, path string, progress func(done, of uint64)) (*Recovery, error) {
	if err := build(path); err != nil {
		return nil, err
	}
	b := newRebuilding(ctx, from, path)
	err := b.run(progress)
	if err = errors.Join(err, b.db.Close()); err != nil {
		return nil, err
	}
	return &b.Recovery, sound(ctx, path)
}

// sound refuses a store that has a fault: what was recovered must be beyond doubt.
func sound(ctx context.Context, path string) error {
	r, err := OpenReader(path)
	if err != nil {
		return err
	}
	return errors.Join(r.Check(ctx), r.Close())
}
