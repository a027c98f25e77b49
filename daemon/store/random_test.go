package store_test

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"github.com/ampledger/ampledger/daemon/store"
	"github.com/ampledger/ampledger/daemon/store/storetest"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// model is the store as slices and maps.
type model struct {
	entries    []store.Entry
	gaps       []store.Gap
	events     []*ampledgerv1.Event
	held, used map[string]uint64
	epochs     map[string]uint64
	snapshots  map[string]byte
}

var (
	devices  = rapid.SampledFrom([]string{"adc0", "adc1"})
	channels = rapid.SampledFrom([]string{"shunt", "hall"})
	packs    = rapid.SampledFrom([]string{"pack", "aux"})
)

// TestRandom does random things to a store and to the model, opening the file again now and then, and compares.
func TestRandom(t *testing.T) {
	folder, run := t.TempDir(), 0
	rapid.Check(t, func(t *rapid.T) {
		run++
		path := filepath.Join(folder, fmt.Sprint(run, ".db"))
		ctx, m := context.Background(), model{held: map[string]uint64{}, used: map[string]uint64{}, epochs: map[string]uint64{}, snapshots: map[string]byte{}}
		s, err := store.Open(path)
		fatal(t, err)
		defer func() { fatal(t, s.Close()) }()
		t.Repeat(map[string]func(*rapid.T){
			"append":   func(t *rapid.T) { m.append(t, s) },
			"hold":     func(t *rapid.T) { m.hold(t, s) },
			"release":  func(t *rapid.T) { m.release(t, s) },
			"balance":  func(t *rapid.T) { m.balance(t, s) },
			"gaps":     func(t *rapid.T) { m.longest(t, s) },
			"snapshot": func(t *rapid.T) { m.snapshot(t, s) },
			"epoch": func(t *rapid.T) {
				device := devices.Draw(t, "device")
				m.epochs[device]++
				if epoch, err := s.BeginEpoch(ctx, device); epoch != m.epochs[device] || err != nil {
					t.Fatalf("epoch %d of %s, want %d: %v", epoch, device, m.epochs[device], err)
				}
			},
			"reopen": func(t *rapid.T) {
				fatal(t, s.Close())
				s, err = store.Open(path)
				fatal(t, err)
			},
			"": func(t *rapid.T) { m.same(t, s) },
		})
		storetest.Verify(t, s)
	})
}

func fatal(t *rapid.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// append stores a batch of anything.
func (m *model) append(t *rapid.T, s *store.Store) {
	var batch store.Batch
	for range rapid.IntRange(0, 3).Draw(t, "entries") {
		e := entry(packs.Draw(t, "conductor"), channels.Draw(t, "channel"), rapid.IntRange(0, 9).Draw(t, "minute"))
		e.Device = devices.Draw(t, "device")
		e.OutMicrocoulombs = rapid.Int64Range(0, 1<<40).Draw(t, "out")
		posting := store.Posting{Entry: e}
		for range rapid.IntRange(0, 3).Draw(t, "gaps") {
			posting.Gaps = append(posting.Gaps, gap(rapid.Int64Range(0, 5).Draw(t, "gap"), "lost"))
		}
		batch.Postings = append(batch.Postings, posting)
	}
	for range rapid.IntRange(0, 2).Draw(t, "events") {
		batch.Events = append(batch.Events, event(rapid.String().Draw(t, "id"), packs.Draw(t, "conductor")))
	}
	broken := len(batch.Postings) > 0 && rapid.IntRange(0, 4).Draw(t, "broken") == 0
	if broken {
		batch.Postings[len(batch.Postings)-1].Entry.DurationNanos = -1
	}
	at, err := s.Append(context.Background(), batch)
	if broken {
		if !errors.Is(err, store.ErrInvalid) {
			t.Fatalf("a broken batch: %v", err)
		}
		return
	}
	fatal(t, err)
	m.take(batch, at)
}

// take does what Append must have done.
func (m *model) take(batch store.Batch, at store.Positions) {
	for i, posting := range batch.Postings {
		e := posting.Entry
		e.Sequence = at.Entries[i]
		m.entries = append(m.entries, e)
		m.used[e.Device] = max(m.used[e.Device], e.LastSequence+1)
		for j, gap := range posting.Gaps {
			gap.EntrySequence, gap.Position = e.Sequence, j+1
			m.gaps = append(m.gaps, gap)
		}
	}
	for i, event := range batch.Events {
		event.LogSequence = at.Events[i]
		m.events = append(m.events, event)
	}
}

func (m *model) hold(t *rapid.T, s *store.Store) {
	device, through := devices.Draw(t, "device"), rapid.Uint64Range(0, 9000).Draw(t, "through")
	fatal(t, s.HoldSequences(context.Background(), device, through))
	m.held[device] = max(m.held[device], through+1)
}

func (m *model) release(t *rapid.T, s *store.Store) {
	device, next := devices.Draw(t, "device"), rapid.Uint64Range(0, 9000).Draw(t, "next")
	err := s.ReleaseSequences(context.Background(), device, next)
	if next < m.used[device] {
		if !errors.Is(err, store.ErrSequenceInUse) {
			t.Fatalf("released %d below %d: %v", next, m.used[device], err)
		}
		return
	}
	fatal(t, err)
	m.held[device] = next
}

func (m *model) snapshot(t *rapid.T, s *store.Store) {
	pack, state := packs.Draw(t, "conductor"), rapid.Byte().Draw(t, "state")
	fatal(t, s.PutSnapshot(context.Background(), store.Snapshot{Conductor: pack, Plugin: "p", State: []byte{state}}))
	m.snapshots[pack] = state
}

// span draws a span, open at either end or not.
func span(t *rapid.T) (from, to *int64) {
	minute := rapid.IntRange(0, 11)
	if rapid.Bool().Draw(t, "from?") {
		from = at(minute.Draw(t, "from"))
	}
	if rapid.Bool().Draw(t, "to?") {
		to = at(minute.Draw(t, "to"))
	}
	return from, to
}

// inside tells whether an entry lies in a span.
func inside(e *store.Entry, from, to *int64) bool {
	return (from == nil || e.FromWallNanos >= *from) && (to == nil || e.ToWallNanos <= *to)
}

func (m *model) balance(t *rapid.T, s *store.Store) {
	pack, channel := packs.Draw(t, "conductor"), channels.Draw(t, "channel")
	from, to := span(t)
	var count, out int64
	for i := range m.entries {
		if e := &m.entries[i]; e.Conductor == pack && e.Channel == channel && inside(e, from, to) {
			count++
			out += e.OutMicrocoulombs
		}
	}
	got, err := s.Balance(context.Background(), pack, channel, from, to)
	if count == 0 && errors.Is(err, store.ErrNoEntries) {
		return
	}
	if err != nil || int64(got.EntryCount) != count || got.OutMicrocoulombs != out {
		t.Fatalf("%d µC in %d entries, want %d in %d: %v", got.OutMicrocoulombs, got.EntryCount, out, count, err)
	}
}

func (m *model) longest(t *rapid.T, s *store.Store) {
	pack, channel, limit := packs.Draw(t, "conductor"), channels.Draw(t, "channel"), rapid.IntRange(1, 6).Draw(t, "limit")
	from, to := span(t)
	var want []store.Gap
	for _, gap := range m.gaps {
		if e := &m.entries[gap.EntrySequence-1]; e.Conductor == pack && e.Channel == channel && inside(e, from, to) {
			want = append(want, gap)
		}
	}
	slices.SortStableFunc(want, func(a, b store.Gap) int { return int(b.DurationNanos - a.DurationNanos) })
	want = want[:min(limit, len(want))]
	slices.SortStableFunc(want, func(a, b store.Gap) int {
		return int(a.EntrySequence)*100 + a.Position - int(b.EntrySequence)*100 - b.Position
	})
	got, err := s.Gaps(context.Background(), pack, channel, from, to, limit)
	fatal(t, err)
	if diff := cmp.Diff(want, got); diff != "" {
		t.Fatalf("gaps (-want +got):\n%s", diff)
	}
}

// same compares everything else.
func (m *model) same(t *rapid.T, s *store.Store) {
	ctx := context.Background()
	entries, err := s.Entries(ctx, 0, store.Filter{}, 1000)
	fatal(t, err)
	if !slices.Equal(entries, m.entries) {
		t.Fatalf("entries (-want +got):\n%s", cmp.Diff(m.entries, entries))
	}
	events, err := s.Events(ctx, 0, "", 1000)
	fatal(t, err)
	if fmt.Sprint(events) != fmt.Sprint(m.events) {
		t.Fatalf("events %v, want %v", events, m.events)
	}
	for _, device := range []string{"adc0", "adc1"} {
		next, err := s.NextSequence(ctx, device)
		if want := max(m.held[device], m.used[device]); next != want || err != nil {
			t.Fatalf("next sequence of %s is %d, want %d: %v", device, next, want, err)
		}
	}
	for pack, state := range m.snapshots {
		if got, err := s.Snapshot(ctx, pack, "p"); err != nil || got.State[0] != state {
			t.Fatalf("snapshot of %s is %v, want %d: %v", pack, got.State, state, err)
		}
	}
}
