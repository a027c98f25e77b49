package charge_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/ampledger/ampledger/daemon/charge"
	"github.com/ampledger/ampledger/daemon/scan"
)

// sink keeps results alive.
var sink float64

// BenchmarkFrames reports the time a reading takes, beside a plain loop that does nothing but scale and sum: compare within one run only,
// machines drift. The current flows one way, or changes its sign at random, which is the worst case.
func BenchmarkFrames(b *testing.B) {
	for _, n := range []int{100, 1000} {
		counts, oneWay := make([]float64, n), make([]float64, n)
		random := rand.New(rand.NewPCG(1, 2))
		for k := range counts {
			counts[k] = random.NormFloat64() * 200
			oneWay[k] = math.Abs(counts[k])
		}
		b.Run(fmt.Sprintf("floor/%d", n), func(b *testing.B) {
			perReading(b, n, func() { sink += scaleAndSum(counts, 0.0305, -0.002) })
		})
		b.Run(fmt.Sprintf("regular/%d", n), func(b *testing.B) { benchmarkApply(b, regular(0, 1e6, oneWay...)) })
		b.Run(fmt.Sprintf("regular-both-ways/%d", n), func(b *testing.B) { benchmarkApply(b, regular(0, 1e6, counts...)) })
		b.Run(fmt.Sprintf("irregular/%d", n), func(b *testing.B) { benchmarkApply(b, irregular(regular(0, 1e6, oneWay...))) })
	}
}

// benchmarkApply feeds the same batch again and again, each time where the one before ended.
func benchmarkApply(b *testing.B, r *scan.Readings) {
	account := mustNew(b, charge.Config{GapNanos: 1e9, BoundAmperes: 500, SaturatedBoundAmperes: 2000})
	b.ReportAllocs()
	perReading(b, r.Len(), func() {
		account.Apply(r)
		r.Sequence += uint64(r.Len())
		r.Monotonic += int64(r.Len()) * 1e6
	})
}

// perReading runs step and reports the time by reading.
func perReading(b *testing.B, n int, step func()) {
	for b.Loop() {
		step()
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(n), "ns/reading")
}

// scaleAndSum is the least that can be done with a frame.
//
//go:noinline
func scaleAndSum(counts []float64, scale, offset float64) float64 {
	var total float64
	for _, count := range counts {
		total += count*scale + offset
	}
	return total
}
