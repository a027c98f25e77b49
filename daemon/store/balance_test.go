package store_test

import (
	"errors"
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"

	"github.com/ampledger/ampledger/daemon/store"
	"github.com/ampledger/ampledger/daemon/store/storetest"
)

// at is the wall-clock time at which the n-th minute begins.
func at(n int) *int64 {
	nanos := 1e18 + int64(n)*60e9
	return &nanos
}

// TestBalance sums spans.
func TestBalance(t *testing.T) {
	s := storetest.OpenMemory(t)
	opening := entry("pack", "shunt", 0)
	opening.Kind, opening.Totals, opening.LastSequence, opening.ToWallNanos = store.Opening, store.Totals{}, 0, opening.FromWallNanos
	append1(t, s, opening)
	for n := range 5 {
		append1(t, s, entry("pack", "shunt", n+1))
		append1(t, s, entry("pack", "hall", n+1))
		append1(t, s, entry("aux", "shunt", n+1))
	}
	for name, row := range map[string]struct {
		from, to      *int64
		first, last   int // minutes summed
		count, newest uint64
	}{
		"all":                  {nil, nil, 1, 5, 6, 14},
		"from a minute":        {at(3), nil, 3, 5, 3, 14},
		"up to a minute's end": {nil, at(3), 1, 2, 3, 5},
		"both":                 {at(2), at(4), 2, 3, 2, 8},
		"cutting into minutes": {new(*at(2) - 1), new(*at(5) - 1), 2, 4 - 1, 2, 8},
	} {
		t.Run(name, func(t *testing.T) {
			got := must(s.Balance(t.Context(), "pack", "shunt", row.from, row.to))(t)
			want := sumOf(row.first, row.last)
			want.EntryCount, want.NewestEntrySequence = row.count, row.newest
			if uint64(row.last-row.first+1) < row.count { // with the opening
				want.FromWallNanos = *at(0)
			}
			if diff := cmp.Diff(want, got); diff != "" {
				t.Errorf("(-want +got)\n%s", diff)
			}
			if got.NetMicrocoulombs()+2*got.InMicrocoulombs != got.ThroughputMicrocoulombs() {
				t.Error("net and throughput disagree")
			}
		})
	}
}

// sumOf adds minutes up the slow way.
func sumOf(first, last int) (b store.Balance) {
	for n := first; n <= last; n++ {
		e := entry("pack", "shunt", n)
		b.DurationNanos += e.DurationNanos
		b.OutMicrocoulombs += e.OutMicrocoulombs
		b.InMicrocoulombs += e.InMicrocoulombs
		b.OffsetMicrocoulombs += e.OffsetMicrocoulombs
		b.SquareAmpereSeconds += e.SquareAmpereSeconds
		b.ReadingCount += e.ReadingCount
		b.GapCount += e.GapCount
		b.GapNanos += e.GapNanos
		b.GapAssumedMicrocoulombs += e.GapAssumedMicrocoulombs
		b.GapBoundMicrocoulombs += e.GapBoundMicrocoulombs
		b.NoiseSquareCoulombs += e.NoiseSquareCoulombs
		b.ZeroCoulombs += e.ZeroCoulombs
		b.GainCoulombs += e.GainRatio * 1e-6 * float64(e.NetMicrocoulombs())
		u := uint64(n - first + 1)
		b.Unusable = store.Unusable{
			Missing: u, NotFinite: 2 * u, Saturated: 3 * u, OutOfRange: 4 * u, TimeRepeated: 5 * u, TimeBackwards: 6 * u, AuxiliaryMissing: 7 * u, Lost: 8 * u,
		}
	}
	b.FromWallNanos, b.ToWallNanos = *at(first), *at(last + 1)
	b.FirstSequence, b.LastSequence = uint64(first)*600, uint64(last)*600+599
	return b
}

// TestNoEntries asks for what is not there.
func TestNoEntries(t *testing.T) {
	s := storetest.OpenMemory(t)
	append1(t, s, entry("pack", "shunt", 0))
	for name, ask := range map[string]func() (store.Balance, error){
		"no such conductor": func() (store.Balance, error) { return s.Balance(t.Context(), "p", "shunt", nil, nil) },
		"no such channel":   func() (store.Balance, error) { return s.Balance(t.Context(), "pack", "hall", nil, nil) },
		"span before":       func() (store.Balance, error) { return s.Balance(t.Context(), "pack", "shunt", nil, at(0)) },
		"span after":        func() (store.Balance, error) { return s.Balance(t.Context(), "pack", "shunt", at(1), nil) },
		"span too short":    func() (store.Balance, error) { return s.Balance(t.Context(), "pack", "shunt", at(0), new(*at(1)-1)) },
		"span reversed":     func() (store.Balance, error) { return s.Balance(t.Context(), "pack", "shunt", at(1), at(0)) },
	} {
		if got, err := ask(); !errors.Is(err, store.ErrNoEntries) {
			t.Errorf("%s: %+v, %v", name, got, err)
		}
	}
}

// TestOverflow lets each sum go beyond 64 bits.
func TestOverflow(t *testing.T) {
	const most = math.MaxInt64
	for name, fill := range map[string]func(*store.Entry){
		"out":            func(e *store.Entry) { e.OutMicrocoulombs = most },
		"in":             func(e *store.Entry) { e.InMicrocoulombs = most },
		"offset":         func(e *store.Entry) { e.OffsetMicrocoulombs = math.MinInt64 },
		"readings":       func(e *store.Entry) { e.ReadingCount = most },
		"throughput":     func(e *store.Entry) { e.OutMicrocoulombs, e.InMicrocoulombs = most/2, 2 },
		"one in the end": func(e *store.Entry) { e.GapBoundMicrocoulombs = most/2 + 1 },
	} {
		t.Run(name, func(t *testing.T) {
			s := storetest.OpenMemory(t)
			e := entry("pack", "shunt", 0)
			e.Totals = store.Totals{}
			fill(&e)
			for range 2 {
				append1(t, s, e)
			}
			if got, err := s.Balance(t.Context(), "pack", "shunt", nil, nil); !errors.Is(err, store.ErrOverflow) {
				t.Errorf("got %+v, %v", got, err)
			}
		})
	}
}

// TestGaps asks for the longest.
func TestGaps(t *testing.T) {
	s := storetest.OpenMemory(t)
	append1(t, s, entry("pack", "shunt", 0), gap(5), gap(9), gap(5))
	append1(t, s, entry("pack", "hall", 0), gap(100))
	append1(t, s, entry("pack", "shunt", 1), gap(7), gap(5))
	for name, row := range map[string]struct {
		from, to *int64
		limit    int
		want     []int64
	}{
		"all in order":            {nil, nil, 10, []int64{5, 9, 5, 7, 5}},
		"longest in order":        {nil, nil, 2, []int64{9, 7}},
		"of equal ones the first": {nil, nil, 3, []int64{5, 9, 7}},
		"of a span":               {at(1), at(2), 10, []int64{7, 5}},
		"none":                    {at(2), nil, 10, nil},
	} {
		var got []int64
		for _, gap := range must(s.Gaps(t.Context(), "pack", "shunt", row.from, row.to, row.limit))(t) {
			got = append(got, gap.DurationNanos)
		}
		if !cmp.Equal(got, row.want) {
			t.Errorf("%s: %v, want %v", name, got, row.want)
		}
	}
}

// TestPages reads events and entries page by page.
func TestPages(t *testing.T) {
	s := storetest.OpenMemory(t)
	for n := range 7 {
		batch := batch2(t)
		batch.Postings[0].Entry.Conductor = []string{"pack", "aux"}[n%2]
		batch.Events[0].Conductor = []string{"pack", "aux"}[n%2]
		must(s.Append(t.Context(), batch))(t)
	}
	for conductor, want := range map[string][]uint64{"": {1, 2, 3, 4, 5, 6, 7}, "pack": {1, 3, 5, 7}, "aux": {2, 4, 6}, "none": nil} {
		var events, entries []uint64
		for after := uint64(0); ; {
			page := must(s.Events(t.Context(), after, conductor, 2))(t)
			for _, event := range page {
				after = event.LogSequence
				events = append(events, after)
			}
			if len(page) < 2 {
				break
			}
		}
		for _, entry := range must(s.Entries(t.Context(), 0, store.Filter{Conductor: conductor}, 10))(t) {
			entries = append(entries, entry.Sequence)
		}
		if !cmp.Equal(events, want) || !cmp.Equal(entries, want) {
			t.Errorf("of %q: events %v, entries %v, want %v", conductor, events, entries, want)
		}
	}
	if past := must(s.Events(t.Context(), math.MaxUint64, "", 5))(t); len(past) != 0 {
		t.Errorf("behind the last one: %v", past)
	}
	_, err1 := s.Events(t.Context(), 0, "", 0)
	_, err2 := s.Entries(t.Context(), 0, store.Filter{}, -1)
	_, err3 := s.Gaps(t.Context(), "pack", "shunt", nil, nil, 0)
	for _, err := range []error{err1, err2, err3} {
		if !errors.Is(err, store.ErrInvalid) {
			t.Errorf("without a limit: %v", err)
		}
	}
}
