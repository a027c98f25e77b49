package store_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"

	"github.com/ampledger/ampledger/daemon/store"
	"github.com/ampledger/ampledger/daemon/store/storetest"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// TestRoundTrip stores one of each and reads it back after opening again.
func TestRoundTrip(t *testing.T) {
	ctx, path := t.Context(), filepath.Join(t.TempDir(), "a b?#%", "ampledger.db")
	s := storetest.OpenAt(t, path)
	opening := entry("pack", "shunt", 0)
	opening.Kind, opening.Totals = store.Opening, store.Totals{}
	batch := store.Batch{
		Postings: []store.Posting{
			{Entry: opening},
			{Entry: entry("pack", "shunt", 1), Gaps: []store.Gap{gap(3, "lost", "silence"), gap(4)}},
			{Entry: entry("pack", "hall", 1), Gaps: []store.Gap{gap(9, "restart")}},
		},
		Events: []*ampledgerv1.Event{event("a", "pack"), event("b", "aux")},
		Holds:  []store.Hold{{Device: "adc1", Through: 41}},
	}
	given := proto.CloneOf(batch.Events[0])
	at := must(s.Append(ctx, batch))(t)
	if want := (store.Positions{Entries: []uint64{1, 2, 3}, Events: []uint64{1, 2}}); !cmp.Equal(at, want) {
		t.Errorf("positions %v, want %v", at, want)
	}
	if !proto.Equal(batch.Events[0], given) {
		t.Error("Append changed the batch")
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	s = storetest.OpenAt(t, path)

	wantEntries := []store.Entry{}
	for i, posting := range batch.Postings {
		posting.Entry.Sequence = at.Entries[i]
		wantEntries = append(wantEntries, posting.Entry)
	}
	if diff := cmp.Diff(wantEntries, must(s.Entries(ctx, 0, store.Filter{}, 10))(t)); diff != "" {
		t.Errorf("entries (-want +got):\n%s", diff)
	}
	wantGaps := []store.Gap{gap(3, "lost", "silence"), gap(4)}
	wantGaps[0].EntrySequence, wantGaps[0].Position = 2, 1
	wantGaps[1].EntrySequence, wantGaps[1].Position, wantGaps[1].Causes = 2, 2, []string{}
	if diff := cmp.Diff(wantGaps, must(s.Gaps(ctx, "pack", "shunt", nil, nil, 10))(t)); diff != "" {
		t.Errorf("gaps (-want +got):\n%s", diff)
	}
	for i, event := range batch.Events {
		event.LogSequence = at.Events[i]
	}
	if diff := cmp.Diff(batch.Events, must(s.Events(ctx, 0, "", 10))(t), protocmp.Transform()); diff != "" {
		t.Errorf("events (-want +got):\n%s", diff)
	}
	if next := must(s.NextSequence(ctx, "adc1"))(t); next != 42 {
		t.Errorf("next sequence %d, want 42", next)
	}
	more := must(s.Append(ctx, batch2(t)))(t)
	if more.Entries[0] != 4 || more.Events[0] != 3 {
		t.Errorf("after opening again it goes on with %v", more)
	}
}

func batch2(testing.TB) store.Batch {
	return store.Batch{Postings: []store.Posting{{Entry: entry("pack", "shunt", 2)}}, Events: []*ampledgerv1.Event{event("c", "pack")}}
}

// TestInvalid tries what can never be stored, together with what could be: all or nothing.
func TestInvalid(t *testing.T) {
	s := storetest.OpenMemory(t)
	for name, spoil := range map[string]func(*store.Batch){
		"entry has a place already":        func(b *store.Batch) { b.Postings[0].Entry.Sequence = 7 },
		"entry of no conductor":            func(b *store.Batch) { b.Postings[0].Entry.Conductor = "" },
		"entry of no channel":              func(b *store.Batch) { b.Postings[0].Entry.Channel = "" },
		"entry of no device":               func(b *store.Batch) { b.Postings[0].Entry.Device = "" },
		"unknown kind":                     func(b *store.Batch) { b.Postings[0].Entry.Kind = "guess" },
		"charge out negative":              func(b *store.Batch) { b.Postings[0].Entry.OutMicrocoulombs = -1 },
		"charge in negative":               func(b *store.Batch) { b.Postings[0].Entry.InMicrocoulombs = -1 },
		"duration negative":                func(b *store.Batch) { b.Postings[0].Entry.DurationNanos = -1 },
		"square is no number":              func(b *store.Batch) { b.Postings[0].Entry.SquareAmpereSeconds = math.NaN() },
		"zero uncertainty infinite":        func(b *store.Batch) { b.Postings[0].Entry.ZeroCoulombs = math.Inf(1) },
		"count beyond 63 bits":             func(b *store.Batch) { b.Postings[0].Entry.Unusable.Lost = 1 << 63 },
		"sequence without a next one":      func(b *store.Batch) { b.Postings[0].Entry.LastSequence = 1<<63 - 1 },
		"gap of negative duration":         func(b *store.Batch) { b.Postings[0].Gaps = []store.Gap{gap(-1)} },
		"gap has a place already":          func(b *store.Batch) { b.Postings[0].Gaps = []store.Gap{{Position: 1}} },
		"more gaps than the entry counts":  func(b *store.Batch) { b.Postings[0].Gaps = make([]store.Gap, 4) },
		"event has a log sequence already": func(b *store.Batch) { b.Events[0].LogSequence = 3 },
		"event with broken text":           func(b *store.Batch) { b.Events[0].Detail = "\xff" },
		"no event":                         func(b *store.Batch) { b.Events[0] = nil },
		"hold of no device":                func(b *store.Batch) { b.Holds = []store.Hold{{Through: 3}} },
		"hold of the last sequence":        func(b *store.Batch) { b.Holds = []store.Hold{{Device: "d", Through: math.MaxInt64}} },
	} {
		t.Run(name, func(t *testing.T) {
			batch := batch2(t)
			spoil(&batch)
			if at, err := s.Append(t.Context(), batch); !errors.Is(err, store.ErrInvalid) {
				t.Errorf("got %v, %v, want ErrInvalid", at, err)
			}
			if entries, log, err := s.Newest(t.Context()); entries != 0 || log != 0 || err != nil {
				t.Errorf("%d entries and %d events are stored all the same (%v)", entries, log, err)
			}
		})
	}
}

// TestAppendOnly tries to change what is stored, as any SQL tool could.
func TestAppendOnly(t *testing.T) {
	s := storetest.Open(t)
	append1(t, s, entry("pack", "shunt", 0), gap(4))
	must(s.Append(t.Context(), batch2(t)))(t)
	columns := "SELECT 1, conductor, channel, kind, device, " + strings.Repeat("0, ", 29) + "'', 0, '', NULL, NULL, NULL, NULL, NULL, zeroblob(32) FROM entries"
	for _, query := range []string{
		"UPDATE entries SET out_microcoulombs = 0",
		"UPDATE entries SET entry_sequence = 9 WHERE entry_sequence = 2",
		"DELETE FROM entries",
		"INSERT OR REPLACE INTO entries " + columns,
		strings.Replace("INSERT INTO entries "+columns, "SELECT 1", "SELECT 17", 1),
		strings.Replace("INSERT INTO entries "+columns, "SELECT 1", "SELECT NULL", 1) + " LIMIT 1",
		"UPDATE gaps SET duration_nanos = 0",
		"DELETE FROM gaps",
		"INSERT INTO gaps SELECT 1, 2, 0, 0, 0, 0, 0, 0, 0, '[]'",
		"INSERT OR REPLACE INTO gaps SELECT 1, 1, 0, 0, 0, 0, 0, 0, 0, '[]'",
		"INSERT INTO gaps SELECT 2, 2, 0, 0, 0, 0, 0, 0, 0, '[]'",
		"UPDATE events SET state = 0",
		"DELETE FROM events",
		"REPLACE INTO events SELECT * FROM events",
		"INSERT INTO events SELECT 17, event_id, state, conductor, channel, element, kind, 0, event FROM events",
	} {
		if _, err := s.Writer().Exec(query); err == nil || !strings.Contains(err.Error(), "never") && !strings.Contains(err.Error(), "follow") {
			t.Errorf("%s: %v, want a refusal by a trigger", query, err)
		}
	}
	if _, err := s.Readers().Exec("INSERT INTO snapshots VALUES ('a', 'b', 0, x'')"); err == nil {
		t.Error("a reader may write")
	}
}

// TestCancelled ends contexts before and while a batch is stored: nothing of it stays, and the store goes on working.
func TestCancelled(t *testing.T) {
	for name, s := range map[string]*store.Store{"file": storetest.Open(t), "memory": storetest.OpenMemory(t)} {
		t.Run(name, func(t *testing.T) {
			append1(t, s, entry("pack", "shunt", 0))
			large := store.Batch{}
			for n := range 2000 {
				large.Postings = append(large.Postings, store.Posting{Entry: entry("pack", "shunt", n)})
			}
			for _, after := range []int{0, 5, 500} {
				ctx := &endingContext{Context: t.Context(), after: after, done: make(chan struct{})}
				if at, err := s.Append(ctx, large); !errors.Is(err, context.Canceled) {
					t.Errorf("ended after %d questions: %v, %v", after, at.Entries, err)
				}
				if newest, _, err := s.Newest(t.Context()); newest != 1 || err != nil {
					t.Fatalf("ended after %d questions: newest entry is %d, %v", after, newest, err)
				}
			}
			if at := append1(t, s, entry("pack", "shunt", 1)); at != 2 {
				t.Errorf("the next entry is %d, want 2", at)
			}
		})
	}
}

// endingContext ends after it was asked so many times.
type endingContext struct {
	context.Context
	mutex sync.Mutex
	after int
	done  chan struct{}
}

// Done counts the question.
func (c *endingContext) Done() <-chan struct{} {
	c.mutex.Lock()
	defer c.mutex.Unlock()
	if c.after--; c.after == -1 {
		close(c.done)
	}
	return c.done
}

// Err says whether it has ended.
func (c *endingContext) Err() error {
	select {
	case <-c.done:
		return context.Canceled
	default:
		return nil
	}
}

// TestConcurrent appends from several goroutines while others read: a reader never sees half a batch.
func TestConcurrent(t *testing.T) {
	s := storetest.Open(t)
	const writers, batches = 3, 15
	var writing, reading sync.WaitGroup
	ended := make(chan struct{})
	for w := range writers {
		writing.Go(func() {
			for n := range batches {
				batch := store.Batch{Postings: []store.Posting{{Entry: entry("pack", "shunt", n)}, {Entry: entry("pack", "hall", n)}}}
				batch.Events = []*ampledgerv1.Event{event(fmt.Sprint(w, n), "pack"), event(fmt.Sprint(w, n), "pack")}
				if _, err := s.Append(t.Context(), batch); err != nil {
					t.Error(err)
				}
			}
		})
	}
	for range 6 {
		reading.Go(func() {
			for last := uint64(0); ; {
				entries, log, err := s.Newest(t.Context())
				if err != nil || entries%2 != 0 || log != entries || entries < last {
					t.Errorf("%d entries, %d events after %d: %v", entries, log, last, err)
				}
				last = entries
				events, err := s.Events(t.Context(), 0, "pack", 1000)
				if err != nil || uint64(len(events)) < log || len(events)%2 != 0 {
					t.Errorf("%d events of %d: %v", len(events), log, err)
				}
				select {
				case <-ended:
					return
				default:
				}
			}
		})
	}
	writing.Wait()
	close(ended)
	reading.Wait()
	if entries, log, err := s.Newest(t.Context()); entries != 2*writers*batches || log != entries || err != nil {
		t.Errorf("%d entries, %d events: %v", entries, log, err)
	}
}
