package store_test

import (
	"errors"
	"testing"
	"time"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"

	"github.com/ampledger/ampledger/daemon/store"
	"github.com/ampledger/ampledger/daemon/store/storetest"
)

// diskFaults are what a disk can do, by the result that SQLite's file layer has for it.
var diskFaults = map[string]struct {
	fault fault
	code  int // that the store's error has
}{
	"write error":       {fault{write: sqlite3.SQLITE_IOERR_WRITE}, sqlite3.SQLITE_IOERR_WRITE},
	"short write":       {fault{write: sqlite3.SQLITE_IOERR_WRITE, half: true}, sqlite3.SQLITE_IOERR_WRITE},
	"disk full":         {fault{write: sqlite3.SQLITE_FULL, half: true}, sqlite3.SQLITE_FULL},
	"fsync error":       {fault{sync: sqlite3.SQLITE_IOERR_FSYNC}, sqlite3.SQLITE_IOERR_FSYNC},
	"read-only remount": {fault{write: sqlite3.SQLITE_READONLY, sync: sqlite3.SQLITE_IOERR_FSYNC}, sqlite3.SQLITE_READONLY},
}

// TestFaults lets a disk fail in each way under a commit: nothing of it is stored, readers go on, a crash now would lose nothing that was
// acknowledged, and when the disk works again, so does the ledger, without a hole.
func TestFaults(t *testing.T) {
	for name, row := range diskFaults {
		t.Run(name, func(t *testing.T) {
			interpose(t)
			s := storetest.Open(t)
			append1(t, s, entry("pack", "shunt", 0), gap(1))
			acknowledged := must(s.ChainHead(t.Context()))(t)
			mend := break1(t, row.fault)
			for range 3 {
				_, err := s.Append(t.Context(), batch2(t))
				if failure, is := errors.AsType[*sqlite.Error](err); !is || failure.Code() != row.code {
					t.Fatalf("got %v, want code %d", err, row.code)
				}
			}
			if head := must(s.ChainHead(t.Context()))(t); head != acknowledged {
				t.Errorf("head is %v", head)
			}
			crashed := copyCrashed(t, s)
			mend()
			after := storetest.OpenAt(t, crashed)
			head, chain := must(after.ChainHead(t.Context()))(t), must(after.ChainAt(t.Context(), 1))(t)
			// What was written before a failed fsync may stand after all, whole; it was never acknowledged.
			if chain != acknowledged || head != acknowledged && (row.fault.write != 0 || head.EntrySequence != 2) {
				t.Errorf("after a crash the head is %v, %v was acknowledged", head, acknowledged)
			}
			if at := append1(t, s, entry("pack", "shunt", 1)); at != 2 {
				t.Errorf("goes on with entry %d", at)
			}
			// Moving the log into the file fails as well, and loses nothing.
			break1(t, row.fault)
			if _, err := s.Writer().Exec("PRAGMA wal_checkpoint(TRUNCATE)"); err == nil {
				t.Error("the log is moved into the file on a broken disk")
			}
			current.Store(&fault{})
			if found := must(s.Verify(t.Context(), nil))(t); found.FaultCount > 0 || found.EntryCount != 2 {
				t.Errorf("found %+v", found)
			}
		})
	}
}

// TestRecorderFaults lets a disk fail in each way under a recorder whose queue fills: what was taken is kept, what was not is posted later as
// one entry, Health says what is the matter, and in the end the totals are exact.
func TestRecorderFaults(t *testing.T) {
	for name, row := range diskFaults {
		t.Run(name, func(t *testing.T) {
			interpose(t)
			s := storetest.Open(t)
			failed := make(chan error, 1)
			r := store.NewRecorder(s, store.RecorderConfig{QueueRows: 10, FirstRetry: time.Millisecond, MaxRetry: time.Millisecond, OnFault: func(err error) {
				select {
				case failed <- err:
				default:
				}
			}})
			end := run(t, r)
			mend := break1(t, row.fault)
			kept, refused, want := store.Entry{}, 0, int64(0)
			for n := range 50 {
				next := entry("pack", "shunt", n)
				want += next.OutMicrocoulombs
				if kept = merge(kept, next); r.Post(kept, nil) {
					kept = store.Entry{}
				} else {
					refused++
				}
				if n == 0 {
					<-failed // it has been tried, and stays in the queue
				}
			}
			<-failed
			if failure, is := errors.AsType[*sqlite.Error](r.Health()); !is || failure.Code() != row.code || refused != 40 {
				t.Errorf("health is %v, %d were refused", r.Health(), refused)
			}
			mend()
			if err := errors.Join(r.Flush(t.Context()), r.Health()); err != nil {
				t.Fatal(err)
			}
			if !r.Post(kept, nil) {
				t.Error("not taken though the disk works")
			}
			if err := errors.Join(r.Flush(t.Context()), end()); err != nil {
				t.Error(err)
			}
			got := must(s.Balance(t.Context(), "pack", "shunt", nil, nil))(t)
			if got.OutMicrocoulombs != want || got.EntryCount != 11 || got.LastSequence != 50*600-1 {
				t.Errorf("%d µC in %d entries up to %d, want %d in 11", got.OutMicrocoulombs, got.EntryCount, got.LastSequence, want)
			}
		})
	}
}
