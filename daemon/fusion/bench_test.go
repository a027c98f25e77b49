package fusion_test

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"github.com/ampledger/ampledger/daemon/fusion"
	"github.com/ampledger/ampledger/daemon/scan"
)

// sink keeps results alive.
var sink float64

// benchmarked makes batches of n scans, 1 ms apart.
func benchmarked(channels, n int) (parts []fusion.Part, batch []*scan.Readings) {
	random := rand.New(rand.NewPCG(1, 2))
	for i := range channels {
		parts = append(parts, fusion.Part{NoiseAmperes: 1, Readings: 1000, ZeroAmperes: float64(1 + i), GainRatio: 0.01, MeanAmperes: 100})
		amperes := make([]float64, n)
		for k := range amperes {
			amperes[k] = 100 + random.NormFloat64()
		}
		r := channel(0, amperes...)
		r.Period = 1e6
		batch = append(batch, r)
	}
	return parts, batch
}

// irregular says the times one by one, with some jitter.
func irregular(batch []*scan.Readings) []*scan.Readings {
	for _, r := range batch {
		r.Period, r.Offsets = 0, make([]int64, r.Len())
		for k := range r.Offsets {
			r.Offsets[k] = int64(k)*1e6 + int64(k%3)
		}
	}
	return batch
}

// saturating flags the first channel half of the time.
func saturating(batch []*scan.Readings) []*scan.Readings {
	for k := range batch[0].Len() / 2 {
		flag(batch[0], k, scan.Saturated)
	}
	return batch
}

// BenchmarkApply reports the time a scan takes, beside a plain loop that does nothing but sum one channel: compare within one run only.
func BenchmarkApply(b *testing.B) {
	for _, n := range []int{100, 1000} {
		parts, batch := benchmarked(2, n)
		b.Run(fmt.Sprintf("floor/%d", n), func(b *testing.B) {
			perScan(b, n, func() { sink += plainSum(batch[0].Amperes) })
		})
		b.Run(fmt.Sprintf("two/%d", n), func(b *testing.B) { benchmarkApply(b, parts, batch) })
		three, batchOfThree := benchmarked(3, n)
		b.Run(fmt.Sprintf("three/%d", n), func(b *testing.B) { benchmarkApply(b, three, batchOfThree) })
		b.Run(fmt.Sprintf("two-half-saturated/%d", n), func(b *testing.B) {
			_, batch := benchmarked(2, n)
			benchmarkApply(b, parts, saturating(batch))
		})
		b.Run(fmt.Sprintf("two-irregular/%d", n), func(b *testing.B) {
			_, batch := benchmarked(2, n)
			benchmarkApply(b, parts, irregular(batch))
		})
	}
}

// benchmarkApply fuses the same batch again and again, each time where the one before ended.
func benchmarkApply(b *testing.B, parts []fusion.Part, batch []*scan.Readings) {
	s := weighed(parts...)
	b.ReportAllocs()
	perScan(b, batch[0].Len(), func() { again(s, batch) })
}

// again fuses a batch and moves it to where the next would be.
func again(s *fusion.Stage, batch []*scan.Readings) {
	var to scan.Readings
	n := batch[0].Len()
	for from := 0; from < n; {
		from = s.Apply(batch, from, &to)
	}
	for _, r := range batch {
		r.Sequence += uint64(n)
		r.Monotonic += int64(n) * 1e6
	}
}

// perScan runs step and reports the time by scan.
func perScan(b *testing.B, n int, step func()) {
	for b.Loop() {
		step()
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(n), "ns/scan")
}

//go:noinline
func plainSum(amperes []float64) (total float64) {
	for _, y := range amperes {
		total += y
	}
	return total
}

// BenchmarkWeigh is the whole of a summary of a single scan with eight channels. Correlated ones get negative weights in many sets, each of which
// asks for all sets with one channel less.
func BenchmarkWeigh(b *testing.B) {
	independent, batch := benchmarked(fusion.MostChannels, 1)
	correlated := stating(spread(rand.New(rand.NewPCG(3, 4)), fusion.MostChannels))
	b.Run("independent", func(b *testing.B) { benchmarkWeigh(b, independent, batch) })
	b.Run("correlated", func(b *testing.B) { benchmarkWeigh(b, correlated, batch) })
}

func benchmarkWeigh(b *testing.B, parts []fusion.Part, batch []*scan.Readings) {
	s := weighed(parts...)
	shares := make([]fusion.Share, 0, len(parts))
	b.ReportAllocs()
	for b.Loop() {
		s.Weigh(parts)
		again(s, batch)
		shares = s.Take(shares[:0])
	}
}

// Once its buffers have grown a stage allocates nothing, in whatever way it goes.
func TestNothingIsAllocated(t *testing.T) {
	for name, prepare := range map[string]func([]*scan.Readings) []*scan.Readings{
		"regular": func(b []*scan.Readings) []*scan.Readings { return b }, "irregular": irregular, "saturating": saturating,
	} {
		parts, batch := benchmarked(3, 500)
		s, shares := weighed(parts...), make([]fusion.Share, 0, 3)
		batch = prepare(batch)
		again(s, batch)
		if n := testing.AllocsPerRun(20, func() {
			s.Weigh(parts)
			again(s, batch)
			shares = s.Take(shares[:0])
		}); n != 0 {
			t.Errorf("%s: %v allocations", name, n)
		}
	}
}
