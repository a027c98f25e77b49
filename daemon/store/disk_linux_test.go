package store_test

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"syscall"
	"testing"
	"time"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"

	"github.com/ampledger/ampledger/daemon/store"
	"github.com/ampledger/ampledger/daemon/store/storetest"
)

// TestDiskFull fills the disk: the write fails as a whole, readers go on, and with space again so does the ledger, without a hole.
func TestDiskFull(t *testing.T) {
	s := storetest.Open(t)
	append1(t, s, entry("pack", "shunt", 0))
	limitPages(t, s, 1)
	var large store.Batch
	for n := range 100 {
		large.Postings = append(large.Postings, store.Posting{Entry: entry("pack", "shunt", n), Gaps: []store.Gap{gap(1)}})
	}
	_, err := s.Append(t.Context(), large)
	if failure, ok := errors.AsType[*sqlite.Error](err); !ok || failure.Code() != sqlite3.SQLITE_FULL {
		t.Errorf("got %v, want SQLITE_FULL", err)
	}
	if newest, _, err := s.Newest(t.Context()); newest != 1 || err != nil {
		t.Errorf("newest entry is %d, %v", newest, err)
	}
	limitPages(t, s, 1<<30)
	if at := must(s.Append(t.Context(), large))(t); at.Entries[0] != 2 {
		t.Errorf("goes on with entry %d", at.Entries[0])
	}
}

// limitPages bounds the file, but never below what it has.
func limitPages(t *testing.T, s *store.Store, pages int) {
	t.Helper()
	must(s.Writer().Exec(fmt.Sprint("PRAGMA max_page_count = ", pages)))(t)
}

// TestRecorderDiskFull lets a recorder live through a full disk.
func TestRecorderDiskFull(t *testing.T) {
	s := storetest.Open(t)
	limitPages(t, s, 1)
	failed := make(chan struct{}, 1000)
	r := store.NewRecorder(s, store.RecorderConfig{FirstRetry: time.Millisecond, MaxRetry: time.Millisecond, OnFault: func(error) {
		select {
		case failed <- struct{}{}:
		default:
		}
	}})
	end := run(t, r)
	for n := range 100 {
		r.Post(entry("pack", "shunt", n), []store.Gap{gap(1)})
	}
	<-failed
	<-failed
	limitPages(t, s, 1<<30)
	if err := errors.Join(r.Flush(t.Context()), end(), r.Health()); err != nil {
		t.Error(err)
	}
	if newest, _, err := s.Newest(t.Context()); newest != 100 || err != nil {
		t.Errorf("newest entry is %d, %v", newest, err)
	}
}

// letThrough lets everybody into a folder and through all those above it, until the test ends.
func letThrough(t *testing.T, lowest string) {
	t.Helper()
	for next := lowest; next != filepath.Dir(next); next = filepath.Dir(next) {
		folder := next // the clean-up's own
		info, err := os.Stat(folder)
		if err != nil {
			t.Fatal(err)
		}
		if info.Mode()&0o055 == 0o055 {
			continue
		}
		if err := os.Chmod(folder, info.Mode()|0o055); err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() {
			if err := os.Chmod(folder, info.Mode()); err != nil {
				t.Error(err)
			}
		})
	}
}

// TestReadOnly opens a file that may only be read. Root may write all the same, so it looks at the file as nobody.
func TestReadOnly(t *testing.T) {
	path := filled(t)
	before := must(os.ReadFile(path))(t)
	if err := os.Chmod(path, 0o400); err != nil {
		t.Fatal(err)
	}
	if os.Geteuid() == 0 {
		const nobody = 65534
		letThrough(t, filepath.Dir(path))
		if err := os.Chown(path, nobody, nobody); err != nil {
			t.Fatal(err)
		}
		runtime.LockOSThread()
		defer runtime.UnlockOSThread()
		if err := syscall.Setfsuid(nobody); err != nil {
			t.Fatal(err)
		}
		defer syscall.Setfsuid(0)
	}
	s, err := store.Open(path)
	if failure, ok := errors.AsType[*sqlite.Error](err); !ok || failure.Code()&0xff != sqlite3.SQLITE_READONLY {
		t.Errorf("got %v, %v, want SQLITE_READONLY", s, err)
	}
	if after := must(os.ReadFile(path))(t); string(after) != string(before) {
		t.Error("the file was changed")
	}
}
