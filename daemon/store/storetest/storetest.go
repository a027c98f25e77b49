// Package storetest opens stores in tests. Whoever opens one here gets it checked when the test ends, unasked: the file's soundness, the
// chain, no hole in any sequence, and every balance held against entries added up one by one.
package storetest

import (
	"context"
	"errors"
	"math"
	"math/big"
	"path/filepath"
	"testing"

	"github.com/ampledger/ampledger/daemon/store"
)

// Open opens a new store in a folder of the test's own.
func Open(t testing.TB) *store.Store {
	t.Helper()
	return OpenAt(t, filepath.Join(t.TempDir(), "state", "ampledger.db"))
}

// OpenAt opens a store in a file, or makes it. When the test ends it is closed, if the test has not done so, opened again and verified.
func OpenAt(t testing.TB, path string) *store.Store {
	t.Helper()
	s, err := store.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Errorf("closing: %v", err)
		}
		again, err := store.Open(path)
		if err != nil {
			t.Errorf("opening again: %v", err)
			return
		}
		Verify(t, again)
		if err := again.Close(); err != nil {
			t.Errorf("closing again: %v", err)
		}
	})
	return s
}

// OpenMemory opens a store in memory, which is verified and closed when the test ends. The test must not close it.
func OpenMemory(t testing.TB) *store.Store {
	t.Helper()
	s, err := store.OpenMemory()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		Verify(t, s)
		if err := s.Close(); err != nil {
			t.Errorf("closing: %v", err)
		}
	})
	return s
}

// T is what Verify needs of a test.
type T interface {
	Helper()
	Errorf(format string, arguments ...any)
}

// Verify checks an open store, in which nobody writes meanwhile.
func Verify(t T, s *store.Store) {
	t.Helper()
	ctx := context.Background()
	if err := s.Check(ctx); err != nil {
		t.Errorf("%v", err)
	}
	sums := map[[2]string]*sum{}
	for after := uint64(0); ; {
		entries, err := s.Entries(ctx, after, store.Filter{}, 1000)
		if err != nil {
			t.Errorf("%v", err)
		}
		if len(entries) == 0 {
			break
		}
		for i := range entries {
			after++
			if entries[i].Sequence != after {
				t.Errorf("entry %d stands at place %d", entries[i].Sequence, after)
			}
			if kind := entries[i].Kind; kind != store.Marked && kind != store.Configured && kind != store.Commissioned {
				add(sums, &entries[i])
			}
		}
	}
	for key, sum := range sums {
		sum.compare(t, s, key)
	}
}

// sum adds entries up without ever overflowing.
type sum struct {
	count        uint64
	out, in, net big.Int
	nanos        big.Int
}

func add(sums map[[2]string]*sum, entry *store.Entry) {
	key := [2]string{entry.Conductor, entry.Channel}
	if sums[key] == nil {
		sums[key] = new(sum)
	}
	sum := sums[key]
	sum.count++
	sum.out.Add(&sum.out, big.NewInt(entry.OutMicrocoulombs))
	sum.in.Add(&sum.in, big.NewInt(entry.InMicrocoulombs))
	sum.nanos.Add(&sum.nanos, big.NewInt(entry.DurationNanos))
}

// compare holds the balance against the sum.
func (w *sum) compare(t T, s *store.Store, key [2]string) {
	t.Helper()
	balance, err := s.Balance(context.Background(), key[0], key[1], nil, nil)
	throughput := new(big.Int).Add(&w.out, &w.in)
	if fits := throughput.IsInt64() && w.nanos.IsInt64(); !fits || errors.Is(err, store.ErrOverflow) {
		if !errors.Is(err, store.ErrOverflow) {
			t.Errorf("balance of %v: %v, entries overflow", key, err)
		}
		return
	}
	if err != nil {
		t.Errorf("balance of %v: %v", key, err)
		return
	}
	w.net.Sub(&w.out, &w.in)
	got := [4]int64{int64(balance.EntryCount), balance.OutMicrocoulombs, balance.NetMicrocoulombs(), balance.DurationNanos}
	want := [4]int64{int64(w.count), w.out.Int64(), w.net.Int64(), w.nanos.Int64()}
	if got != want || balance.ThroughputMicrocoulombs() != throughput.Int64() {
		t.Errorf("balance of %v is %v (entries, out, net, ns), entries add up to %v", key, got, want)
	}
	if math.IsNaN(balance.NoiseSquareCoulombs + balance.GainCoulombs + balance.ZeroCoulombs) {
		t.Errorf("balance of %v is not a number: %+v", key, balance)
	}
}
