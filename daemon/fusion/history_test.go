package fusion_test

import (
	"math"
	"math/rand/v2"

	"pgregory.net/rapid"

	"github.com/ampledger/ampledger/daemon/fusion"
	"github.com/ampledger/ampledger/daemon/scan"
)

// summary is what happens in one: the parts it is weighed by, and batches of the readings of each channel.
type summary struct {
	parts   []fusion.Part
	batches [][]*scan.Readings
}

// history draws summaries of a few channels: regular and irregular times, saturations, lost scans, silences, restarts, both shapes.
func history(t *rapid.T) (all []summary) {
	random := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 0))
	channels, averaged := rapid.IntRange(2, 4).Draw(t, "channels"), rapid.Bool().Draw(t, "averaged")
	var clock scan.Clock
	for range rapid.IntRange(1, 4).Draw(t, "summaries") {
		s := summary{parts: drawnParts(random, channels)}
		offsets := make([]float64, channels)
		for i := range offsets {
			offsets[i] = random.NormFloat64() * 1e4
		}
		for range rapid.IntRange(1, 3).Draw(t, "batches") {
			batch := drawnBatch(t, random, clock, offsets)
			for _, r := range batch {
				r.Averaged = averaged
			}
			s.batches = append(s.batches, batch)
			clock = after(t, batch[0])
		}
		all = append(all, s)
	}
	return all
}

// drawnParts draws what the channels are like, some of them with covariances.
func drawnParts(random *rand.Rand, channels int) []fusion.Part {
	parts := make([]fusion.Part, channels)
	if random.IntN(2) == 0 {
		parts = stating(spread(random, channels))
	}
	for i := range parts {
		parts[i].NoiseAmperes, parts[i].Readings = random.Float64(), 1+random.IntN(100)
		parts[i].ZeroAmperes, parts[i].GainRatio, parts[i].MeanAmperes = random.Float64(), 0.01*random.Float64(), 100*random.Float64()
	}
	return parts
}

// drawnBatch draws a batch of every channel.
func drawnBatch(t *rapid.T, random *rand.Rand, clock scan.Clock, offsets []float64) (batch []*scan.Readings) {
	n := rapid.IntRange(1, 200).Draw(t, "readings")
	pace(t, random, &clock, n)
	for _, offset := range offsets {
		r := &scan.Readings{Clock: clock, Amperes: make([]float64, n)}
		r.Offset, r.Age, r.Generation, r.Estimator = offset, clock.At(0)/2, 1, "est"
		for k := range r.Amperes {
			r.Amperes[k] = 1e5 * (1 + math.Sin(float64(k)/20) + random.NormFloat64()/10)
		}
		settle(r)
		batch = append(batch, r)
	}
	for range rapid.IntRange(0, 4).Draw(t, "runs") {
		spoil(t, batch, n)
	}
	return batch
}

// pace draws the times of a batch.
func pace(t *rapid.T, random *rand.Rand, clock *scan.Clock, n int) {
	if rapid.Bool().Draw(t, "regular") {
		clock.Period = rapid.SampledFrom([]int64{1e6, 333333333, second, 11 * second}).Draw(t, "period")
		return
	}
	clock.Offsets = make([]int64, n)
	for k := 1; k < n; k++ {
		clock.Offsets[k] = clock.Offsets[k-1] + rapid.SampledFrom([]int64{1e6, 1e6, 1 + random.Int64N(2*second)}).Draw(t, "step")
	}
}

// spoil flags a run of scans of one channel, or of all. What is not a number may go unflagged.
func spoil(t *rapid.T, batch []*scan.Readings, n int) {
	from := rapid.IntRange(0, n-1).Draw(t, "from")
	to := min(n, from+rapid.SampledFrom([]int{1, 5, 1000}).Draw(t, "long"))
	which := rapid.IntRange(0, len(batch)).Draw(t, "which")
	cause := rapid.SampledFrom(append(scan.Causes[:], 0)).Draw(t, "cause")
	values := []float64{nan, inf, 1e6}
	if cause == 0 {
		values = values[:2]
	}
	for i, r := range batch {
		for k := from; k < to && (i == which || which == len(batch)); k++ {
			r.Amperes[k] = rapid.SampledFrom(values).Draw(t, "holds")
			flag(r, k, cause)
		}
	}
}

// after draws where the next batch begins.
func after(t *rapid.T, r *scan.Readings) scan.Clock {
	last := r.Len() - 1
	pause := rapid.SampledFrom([]int64{1e6, 1e6, second, 30 * second}).Draw(t, "pause")
	next := scan.Clock{
		Epoch: r.Epoch, Sequence: r.Sequence + uint64(r.Len()) + rapid.SampledFrom([]uint64{0, 0, 0, 7}).Draw(t, "lost"),
		Wall: r.WallAt(last) + pause, Monotonic: r.At(last) + pause,
	}
	if rapid.IntRange(0, 4).Draw(t, "restart") == 0 {
		next.Epoch++
		next.Monotonic = 0
		next.Wall += rapid.SampledFrom([]int64{0, 5 * second, -3600 * second}).Draw(t, "wall")
	}
	return next
}

// recut cuts the batches of each summary otherwise.
func recut(t *rapid.T, all []summary) (again []summary) {
	for _, s := range all {
		pieces := summary{parts: s.parts}
		for _, batch := range s.batches {
			for i := 0; i < batch[0].Len(); {
				j := rapid.IntRange(i+1, batch[0].Len()).Draw(t, "cut")
				pieces.batches = append(pieces.batches, cutAll(batch, i, j))
				i = j
			}
		}
		again = append(again, pieces)
	}
	return again
}

// fuse takes a history through a stage and gives what comes out of each summary, and its shares.
func fuse(t *rapid.T, gapNanos int64, all []summary) (out [][]*scan.Readings, shares [][]fusion.Share) {
	s := fusion.New(len(all[0].parts), gapNanos)
	for _, each := range all {
		s.Weigh(each.parts)
		var readings []*scan.Readings
		for _, batch := range each.batches {
			readings = append(readings, apply(t, s, batch...)...)
		}
		out, shares = append(out, readings), append(shares, s.Take(nil))
	}
	return out, shares
}

// gapLimit draws one.
func gapLimit(t *rapid.T) int64 {
	return rapid.SampledFrom([]int64{0, second, 10 * second}).Draw(t, "limit")
}
