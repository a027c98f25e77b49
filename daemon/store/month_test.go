package store_test

import (
	"math/big"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/ampledger/ampledger/daemon/store"
)

// operation is a daemon's life as its store sees it: an entry a minute on each of four channels, a restart every hour with the gap it leaves, and
// now and then an adjustment. It is seeded.
type operation struct {
	path   string
	random *rand.Rand
	out    map[string]*big.Int // by channel
	in     map[string]*big.Int
	count  map[string]uint64
}

var fourChannels = []string{"shunt", "hall", "left", "right"}

func newOperation(t testing.TB) *operation {
	o := &operation{path: filepath.Join(t.TempDir(), "ampledger.db"), random: rand.New(rand.NewPCG(5, 6)), count: map[string]uint64{}}
	o.out, o.in = map[string]*big.Int{}, map[string]*big.Int{}
	for _, channel := range fourChannels {
		o.out[channel], o.in[channel] = new(big.Int), new(big.Int)
	}
	return o
}

// hour opens the store, posts an hour and closes it.
func (o *operation) hour(t testing.TB, hour int, adjusted bool) {
	t.Helper()
	s := must(store.Open(o.path))(t)
	must(s.BeginOpening(t.Context()))(t)
	var batch store.Batch
	for minute := range 60 {
		for i, channel := range fourChannels {
			e := entry("pack", channel, hour*60+minute)
			e.OutMicrocoulombs, e.InMicrocoulombs = o.random.Int64N(1e13), o.random.Int64N(1e13)
			posting := store.Posting{Entry: e}
			switch {
			case minute == 0 && hour > 0:
				posting = o.restarted(e)
			case minute == 30 && adjusted && i == 0:
				posting.Entry.Kind, posting.Entry.AdjustmentMicrocoulombs = store.Adjustment, -7
			}
			o.add(&posting.Entry)
			batch.Postings = append(batch.Postings, posting)
		}
	}
	must(s.Append(t.Context(), batch))(t)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
}

// restarted is what a restart leaves instead of a minute.
func (o *operation) restarted(e store.Entry) store.Posting {
	e.Kind, e.Reason, e.OffsetMicrocoulombs, e.SquareAmpereSeconds, e.ReadingCount, e.Unusable = store.Uncounted, "daemon down", 0, 0, 0, store.Unusable{}
	e.GapCount, e.GapNanos, e.GapAssumedMicrocoulombs = 1, e.DurationNanos, e.NetMicrocoulombs()
	return store.Posting{Entry: e, Gaps: []store.Gap{gap(e.DurationNanos, "daemon down")}}
}

func (o *operation) add(e *store.Entry) {
	o.out[e.Channel].Add(o.out[e.Channel], big.NewInt(e.OutMicrocoulombs))
	o.in[e.Channel].Add(o.in[e.Channel], big.NewInt(e.InMicrocoulombs))
	o.count[e.Channel]++
}

// check holds the balances against the sums, to the last bit, and gives how long the slowest took.
func (o *operation) check(t testing.TB, r *store.Reader) (slowest time.Duration) {
	t.Helper()
	for _, channel := range fourChannels {
		begin := time.Now()
		b := must(r.Balance(t.Context(), "pack", channel, nil, nil))(t)
		slowest = max(slowest, time.Since(begin))
		net := new(big.Int).Sub(o.out[channel], o.in[channel])
		if b.OutMicrocoulombs != o.out[channel].Int64() || b.InMicrocoulombs != o.in[channel].Int64() || b.NetMicrocoulombs() != net.Int64() ||
			b.EntryCount != o.count[channel] || !o.out[channel].IsInt64() {
			t.Errorf("%s: %+v, want %d entries, %v out, %v in, %v net", channel, b, o.count[channel], o.out[channel], o.in[channel], net)
		}
	}
	return slowest
}

// TestHalfDay is twelve hours of it.
func TestHalfDay(t *testing.T) {
	o := newOperation(t)
	for hour := range 12 {
		o.hour(t, hour, hour%8 == 3)
	}
	r := must(store.OpenReader(o.path))(t)
	defer r.Close()
	o.check(t, r)
	found := must(r.Verify(t.Context(), nil))(t)
	if found.FaultCount > 0 || found.EntryCount != 12*60*4 {
		t.Errorf("found %d entries, %v", found.EntryCount, found.Faults)
	}
}

// BenchmarkMonth is thirty days of it: what they take to write, how large the file is, how long Verify and the slowest Balance over all take.
func BenchmarkMonth(b *testing.B) {
	for range b.N {
		o := newOperation(b)
		for hour := range 30 * 24 {
			o.hour(b, hour, hour%36 == 3)
		}
		written := b.Elapsed()
		r := must(store.OpenReader(o.path))(b)
		slowest := o.check(b, r)
		begin := time.Now()
		if found := must(r.Verify(b.Context(), nil))(b); found.FaultCount > 0 || found.EntryCount != 30*24*60*4 {
			b.Fatalf("found %d entries, %v", found.EntryCount, found.Faults)
		}
		verified := time.Since(begin)
		if err := r.Close(); err != nil {
			b.Fatal(err)
		}
		size := must(os.Stat(o.path))(b).Size()
		b.ReportMetric(float64(size)/1e6, "MB")
		b.ReportMetric(verified.Seconds(), "s/verify")
		b.ReportMetric(slowest.Seconds()*1e3, "ms/balance")
		b.Logf("written in %v", written)
	}
}
