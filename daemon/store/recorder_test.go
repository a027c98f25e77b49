package store_test

import (
	"context"
	"errors"
	"slices"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"

	"github.com/ampledger/ampledger/daemon/store"
	"github.com/ampledger/ampledger/daemon/store/storetest"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// run starts a recorder; end ends it and gives what Run returned. The test's end ends it as well.
func run(t *testing.T, r *store.Recorder) (end func() error) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- r.Run(ctx) }()
	end = sync.OnceValue(func() error {
		cancel()
		return <-ended
	})
	t.Cleanup(func() { end() })
	return end
}

// TestRecorder queues everything there is and finds it on disk after a flush and after opening again.
func TestRecorder(t *testing.T) {
	s := storetest.Open(t)
	var told []*ampledgerv1.Event
	posted, seen := uint64(0), uint64(0) // told of, and found in the store when told
	r := store.NewRecorder(s, store.RecorderConfig{
		BatchRows: 7,
		OnPosted: func(newest uint64) {
			posted = newest
			seen, _, _ = s.Newest(context.Background())
		},
		OnRecorded: func(events []*ampledgerv1.Event) { told = append(told, events...) },
	})
	end := run(t, r)
	if through, ok := r.Held("adc0"); ok {
		t.Errorf("held through %d from the beginning", through)
	}
	for n := range 20 {
		if !r.Post(entry("pack", "shunt", n), []store.Gap{gap(int64(n))}) {
			t.Fatalf("entry %d is not taken", n)
		}
		one := event(string(rune('a'+n)), "pack")
		r.Tell(one)
		one.EventId = "changed after Tell"
		r.Hold("adc0", uint64(100*n))
	}
	if err := r.Flush(t.Context()); err != nil {
		t.Fatal(err)
	}
	if entries, log, err := s.Newest(t.Context()); entries != 20 || log != 20 || err != nil {
		t.Errorf("%d entries, %d events, %v", entries, log, err)
	}
	if posted != 20 || seen != 20 {
		t.Errorf("told of entries up to %d when %d were there", posted, seen)
	}
	if through, ok := r.Held("adc0"); !ok || through != 1900 {
		t.Errorf("held through %d, %v", through, ok)
	}
	stored := must(s.Events(t.Context(), 0, "", 100))(t)
	for i, event := range stored {
		if told[i].LogSequence != uint64(i+1) || told[i].EventId != event.EventId || event.EventId != string(rune('a'+i)) {
			t.Errorf("event %d: told %v, stored %v", i, told[i], event)
		}
	}
	if err := errors.Join(end(), r.Health()); err != nil || r.Unrecorded() != 0 {
		t.Errorf("%v, %d unrecorded", err, r.Unrecorded())
	}
}

// TestRecorderFull fills the queue while nothing is written: the caller merges and loses no charge; events are counted.
func TestRecorderFull(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDisk(t)
		var dropped []string
		r := store.NewRecorder(d, store.RecorderConfig{
			QueueRows: 6, QueueEvents: 2,
			OnUnrecorded: func(event *ampledgerv1.Event, why error) {
				if !errors.Is(why, store.ErrQueueFull) {
					t.Errorf("unrecorded for %v", why)
				}
				dropped = append(dropped, event.EventId)
			},
		})
		want, kept := int64(0), store.Entry{}
		for n := range 10 {
			next := entry("pack", "shunt", n)
			want += next.OutMicrocoulombs
			if kept = merge(kept, next); r.Post(kept, []store.Gap{gap(1)}) {
				if n > 2 {
					t.Errorf("entry %d is taken: six rows are three entries with a gap each", n)
				}
				kept = store.Entry{}
			}
			r.Tell(event(string(rune('a'+n)), "pack"))
		}
		if !cmp.Equal(dropped, []string{"c", "d", "e", "f", "g", "h", "i", "j"}) || r.Unrecorded() != 8 {
			t.Errorf("unrecorded: %v, %d", dropped, r.Unrecorded())
		}
		end := run(t, r)
		if err := r.Flush(t.Context()); err != nil {
			t.Fatal(err)
		}
		if !r.Post(kept, nil) {
			t.Error("not taken though the queue is empty")
		}
		if !errors.Is(r.Flush(t.Context()), nil) || end() != nil {
			t.Error("not flushed")
		}
		if got := must(d.to.(*store.Store).Balance(t.Context(), "pack", "shunt", nil, nil))(t); got.OutMicrocoulombs != want || got.EntryCount != 4 {
			t.Errorf("%d µC in %d entries, want %d in 4", got.OutMicrocoulombs, got.EntryCount, want)
		}
	})
}

// merge is what a caller does with an entry that was not taken and the next one.
func merge(kept, next store.Entry) store.Entry {
	if kept.Conductor == "" {
		return next
	}
	kept.OutMicrocoulombs += next.OutMicrocoulombs
	kept.LastSequence, kept.ToWallNanos, kept.ToMonotonicNanos = next.LastSequence, next.ToWallNanos, next.ToMonotonicNanos
	return kept
}

// TestRecorderLargePosting takes a posting larger than the whole queue, but only alone.
func TestRecorderLargePosting(t *testing.T) {
	r := store.NewRecorder(storetest.OpenMemory(t), store.RecorderConfig{QueueRows: 2, BatchRows: 2})
	large := entry("pack", "shunt", 0)
	large.GapCount = 9
	if !r.Post(large, make([]store.Gap, 9)) || r.Post(entry("pack", "shunt", 1), nil) {
		t.Error("the large one must be taken, the next one not")
	}
	end := run(t, r)
	if err := r.Flush(t.Context()); err != nil || !r.Post(entry("pack", "shunt", 1), nil) || r.Post(large, make([]store.Gap, 9)) && r.Flush(t.Context()) != nil {
		t.Error(err)
	}
	if err := end(); err != nil {
		t.Error(err)
	}
}

// TestRecorderRetry lets writes fail for a while: waits double up to the cap, nothing is lost, order stays.
func TestRecorderRetry(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDisk(t)
		d.set(errDisk, false)
		faults := 0
		r := store.NewRecorder(d, store.RecorderConfig{
			FirstRetry: time.Second, MaxRetry: 5 * time.Second,
			OnFault: func(err error) {
				if faults++; !errors.Is(err, errDisk) {
					t.Errorf("fault %v", err)
				}
			},
		})
		end := run(t, r)
		r.Post(entry("pack", "shunt", 0), nil)
		time.Sleep(13 * time.Second) // of the bubble's time: tries at 0, 1, 3, 7, 12
		synctest.Wait()
		r.Post(entry("pack", "shunt", 1), nil)
		if err := r.Health(); !errors.Is(err, errDisk) {
			t.Errorf("health is %v", err)
		}
		short, cancel := context.WithTimeout(t.Context(), time.Second)
		defer cancel()
		if err := r.Flush(short); !errors.Is(err, context.DeadlineExceeded) || !errors.Is(err, errDisk) {
			t.Errorf("flush: %v", err)
		}
		d.set(nil, false)
		if err := errors.Join(r.Flush(t.Context()), r.Health(), end()); err != nil {
			t.Error(err)
		}
		want := []time.Duration{0, 1, 3, 7, 12, 17}
		for i := range want {
			want[i] *= time.Second
		}
		if !slices.Equal(d.tries, want) || faults != 5 || !cmp.Equal(d.sizes, [][3]int{{2, 0, 0}}) {
			t.Errorf("tries at %v, %d faults, batches %v", d.tries, faults, d.sizes)
		}
	})
}

// TestRecorderDrain ends Run with a full queue.
func TestRecorderDrain(t *testing.T) {
	for name, row := range map[string]struct {
		fault error
		hang  bool
		mends time.Duration // after the end; 0 = never
		left  bool
		took  time.Duration
	}{
		"all well":                  {nil, false, 0, false, 0},
		"disk fails and comes back": {errDisk, false, 2500 * time.Millisecond, false, 3 * time.Second},
		"disk fails":                {errDisk, false, 0, true, 4 * time.Second},
		"disk hangs":                {nil, true, 0, true, 4 * time.Second},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				d := newDisk(t)
				d.set(row.fault, row.hang)
				unrecorded := 0
				r := store.NewRecorder(d, store.RecorderConfig{
					FirstRetry: time.Second, MaxRetry: time.Second, Drain: 4 * time.Second, BatchRows: 2,
					OnUnrecorded: func(*ampledgerv1.Event, error) { unrecorded++ },
				})
				end := run(t, r)
				for n := range 5 {
					r.Post(entry("pack", "shunt", n), nil)
				}
				r.Tell(event("a", "pack"))
				if row.mends > 0 {
					time.AfterFunc(row.mends, func() { d.set(nil, false) })
				}
				flushed := make(chan error, 1)
				go func() { flushed <- r.Flush(context.Background()) }()
				synctest.Wait()
				begin := time.Now()
				err := end()
				if took := time.Since(begin); took != row.took {
					t.Errorf("took %v, want %v", took, row.took)
				}
				if flush := <-flushed; errors.Is(err, store.ErrNotDrained) != row.left || errors.Is(flush, store.ErrEnded) != row.left {
					t.Errorf("run: %v, flush: %v", err, flush)
				}
				if left := map[bool]int{true: 1}[row.left]; unrecorded != left || r.Unrecorded() != uint64(left) {
					t.Errorf("%d and %d events unrecorded, want %d", unrecorded, r.Unrecorded(), left)
				}
				if r.Post(entry("pack", "shunt", 9), nil) {
					t.Error("takes an entry after the end")
				}
				r.Tell(event("b", "pack"))
				if r.Unrecorded() == 0 {
					t.Error("an event after the end is not counted")
				}
				if err := r.Run(t.Context()); !errors.Is(err, store.ErrEnded) {
					t.Errorf("running again: %v", err)
				}
			})
		})
	}
}

// TestRecorderInvalid gives what can never be stored: it is refused at once and blocks nothing behind it.
func TestRecorderInvalid(t *testing.T) {
	var faults []error
	r := store.NewRecorder(storetest.OpenMemory(t), store.RecorderConfig{
		OnFault:      func(err error) { faults = append(faults, err) },
		OnUnrecorded: func(_ *ampledgerv1.Event, why error) { faults = append(faults, why) },
	})
	end := run(t, r)
	broken := event("a", "pack")
	broken.Detail = "\xff"
	r.Tell(broken)
	r.Hold("", 5)
	if r.Post(store.Entry{}, nil) || r.Unrecorded() != 1 || len(faults) != 3 {
		t.Errorf("%d unrecorded, faults %v", r.Unrecorded(), faults)
	}
	for _, err := range append(faults, r.Health()) {
		if !errors.Is(err, store.ErrInvalid) {
			t.Errorf("fault %v", err)
		}
	}
	r.Tell(event("a", "pack"))
	if err := errors.Join(r.Flush(t.Context()), end()); err != nil {
		t.Error(err)
	}
	if len(faults) != 3 {
		t.Errorf("faults %v", faults)
	}
}

// TestRecorderConcurrent lets many post, tell, hold and flush while the disk comes and goes.
func TestRecorderConcurrent(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDisk(t)
		d.every = 3
		r := store.NewRecorder(d, store.RecorderConfig{BatchRows: 5})
		end := run(t, r)
		var callers sync.WaitGroup
		for c := range 4 {
			callers.Go(func() {
				for n := range 25 {
					for !r.Post(entry("pack", "shunt", n), nil) {
						time.Sleep(time.Millisecond)
					}
					r.Tell(event("a", "pack"))
					r.Hold("adc0", uint64(25*c+n))
					if n%5 == 0 {
						time.Sleep(70 * time.Millisecond)
					}
					if n%6 == 1 {
						if err := r.Flush(t.Context()); err != nil {
							t.Error(err)
						}
					}
				}
			})
		}
		callers.Wait()
		if err := end(); err != nil {
			t.Error(err)
		}
		entries, log, err := d.to.(*store.Store).Newest(t.Context())
		if entries != 100 || log != 100 || err != nil || r.Unrecorded() != 0 {
			t.Errorf("%d entries, %d events, %v", entries, log, err)
		}
		if through, _ := r.Held("adc0"); through != 99 {
			t.Errorf("held through %d", through)
		}
	})
}

// TestRecorderFlush lets the disk fail between two rounds: a flush must not take the first for the second. What was written frees its place.
func TestRecorderFlush(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDisk(t)
		r := store.NewRecorder(d, store.RecorderConfig{
			BatchRows: 1, QueueEvents: 2, OnRecorded: func([]*ampledgerv1.Event) { d.set(errDisk, false) },
		})
		r.Tell(event("a", "pack"))
		r.Tell(event("b", "pack"))
		end := run(t, r)
		short, cancel := context.WithTimeout(t.Context(), time.Second)
		defer cancel()
		if err := r.Flush(short); !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("flush: %v, though one of two events is on disk", err)
		}
		r.Tell(event("c", "pack"))
		if r.Unrecorded() != 0 {
			t.Error("the event on disk still takes a place")
		}
		r.Tell(event("d", "pack"))
		if r.Unrecorded() != 1 {
			t.Error("three wait where two may")
		}
		if err := end(); !errors.Is(err, store.ErrNotDrained) {
			t.Error(err)
		}
	})
}

// TestRecorderEnding gives something while the queue is drained: it is too late, and nothing is lost in silence.
func TestRecorderEnding(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newDisk(t)
		d.set(errDisk, false)
		r := store.NewRecorder(d, store.RecorderConfig{Drain: time.Minute})
		end := run(t, r)
		if !r.Post(entry("pack", "shunt", 0), nil) {
			t.Error("not taken")
		}
		ended := make(chan error, 1)
		go func() { ended <- end() }()
		time.Sleep(time.Second)
		r.Tell(event("a", "pack"))
		if r.Post(entry("pack", "shunt", 1), nil) || r.Unrecorded() != 1 {
			t.Error("taken while ending")
		}
		d.set(nil, false)
		if err := <-ended; err != nil {
			t.Error(err)
		}
	})
}
