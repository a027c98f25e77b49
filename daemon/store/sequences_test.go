package store_test

import (
	"errors"
	"math"
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"

	"github.com/ampledger/ampledger/daemon/store"
	"github.com/ampledger/ampledger/daemon/store/storetest"
)

// TestSequences walks one device through its life; each step says what is next after it, before and after opening again.
func TestSequences(t *testing.T) {
	path := filepath.Join(t.TempDir(), "ampledger.db")
	record := func(s *store.Store, last uint64, kind store.Kind) error {
		e := entry("pack", "shunt", 0)
		e.FirstSequence, e.LastSequence, e.Kind = 0, last, kind
		_, err := s.Append(t.Context(), store.Batch{Postings: []store.Posting{{Entry: e}}})
		return err
	}
	for _, step := range []struct {
		name string
		do   func(*store.Store) error
		want error
		next uint64
	}{
		{"never seen", func(*store.Store) error { return nil }, nil, 0},
		{"opening with a sequence", func(s *store.Store) error { return record(s, 77, store.Opening) }, nil, 0},
		{"held", func(s *store.Store) error { return s.HoldSequences(t.Context(), "adc0", 99) }, nil, 100},
		{"held less", func(s *store.Store) error { return s.HoldSequences(t.Context(), "adc0", 49) }, nil, 100},
		{"another device held", func(s *store.Store) error { return s.HoldSequences(t.Context(), "adc1", 500) }, nil, 100},
		{"some recorded", func(s *store.Store) error { return record(s, 60, store.Interval) }, nil, 100},
		{"released below what is recorded", func(s *store.Store) error { return s.ReleaseSequences(t.Context(), "adc0", 60) }, store.ErrSequenceInUse, 100},
		{"released", func(s *store.Store) error { return s.ReleaseSequences(t.Context(), "adc0", 61) }, nil, 61},
		{"recorded without a hold", func(s *store.Store) error { return record(s, 199, store.Interval) }, nil, 200},
		{"released beyond", func(s *store.Store) error { return s.ReleaseSequences(t.Context(), "adc0", 300) }, nil, 300},
		{"held to the end", func(s *store.Store) error { return s.HoldSequences(t.Context(), "adc0", math.MaxUint64) }, store.ErrInvalid, 300},
		{"released of no device", func(s *store.Store) error { return s.ReleaseSequences(t.Context(), "", 300) }, store.ErrInvalid, 300},
	} {
		s := storetest.OpenAt(t, path)
		if err := step.do(s); !errors.Is(err, step.want) {
			t.Errorf("%s: %v, want %v", step.name, err, step.want)
		}
		if next := must(s.NextSequence(t.Context(), "adc0"))(t); next != step.next {
			t.Errorf("%s: next is %d, want %d", step.name, next, step.next)
		}
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	}
	s := storetest.OpenAt(t, path)
	if err := s.ReleaseSequences(t.Context(), "adc2", 7); err != nil || must(s.NextSequence(t.Context(), "adc2"))(t) != 7 {
		t.Errorf("releasing a device never seen: %v", err)
	}
}

// TestNumbers gives out epochs and openings, each once.
func TestNumbers(t *testing.T) {
	path := filepath.Join(t.TempDir(), "ampledger.db")
	var epochs, others, openings []uint64
	for range 3 {
		s := storetest.OpenAt(t, path)
		openings = append(openings, must(s.BeginOpening(t.Context()))(t))
		epochs = append(epochs, must(s.BeginEpoch(t.Context(), "adc0"))(t), must(s.BeginEpoch(t.Context(), "adc0"))(t))
		others = append(others, must(s.BeginEpoch(t.Context(), "adc1"))(t))
		if next := must(s.NextSequence(t.Context(), "adc0"))(t); next != 0 {
			t.Errorf("an epoch moved the sequence to %d", next)
		}
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	}
	for _, row := range []struct{ got, want []uint64 }{{epochs, []uint64{1, 2, 3, 4, 5, 6}}, {others, []uint64{1, 2, 3}}, {openings, []uint64{1, 2, 3}}} {
		if !cmp.Equal(row.got, row.want) {
			t.Errorf("%v, want %v", row.got, row.want)
		}
	}
}

// TestSnapshots keeps the newest of each.
func TestSnapshots(t *testing.T) {
	s := storetest.Open(t)
	newest := store.Snapshot{Conductor: "pack", Plugin: "biasfilter", WallNanos: -5, State: []byte{0, 1, 255}}
	empty := store.Snapshot{Conductor: "pack", Plugin: "fixedzero", WallNanos: 7}
	for _, put := range []store.Snapshot{{Conductor: "pack", Plugin: "biasfilter", State: []byte("old")}, empty, newest} {
		if err := s.PutSnapshot(t.Context(), put); err != nil {
			t.Fatal(err)
		}
	}
	for _, want := range []store.Snapshot{newest, empty} {
		if got := must(s.Snapshot(t.Context(), want.Conductor, want.Plugin))(t); !cmp.Equal(got, want) {
			t.Errorf("got %+v, want %+v", got, want)
		}
	}
	if got, err := s.Snapshot(t.Context(), "aux", "biasfilter"); !errors.Is(err, store.ErrNoSnapshot) {
		t.Errorf("got %+v, %v, want ErrNoSnapshot", got, err)
	}
	if err := s.PutSnapshot(t.Context(), store.Snapshot{Plugin: "p"}); !errors.Is(err, store.ErrInvalid) {
		t.Errorf("got %v, want ErrInvalid", err)
	}
}
