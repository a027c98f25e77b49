package charge_test

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"github.com/ampledger/ampledger/daemon/charge"
	"github.com/ampledger/ampledger/daemon/scan"
)

// history draws the batches of one channel: regular and irregular, with flags, lost scans, silences and restarts.
func history(t *rapid.T) []*scan.Readings {
	var clock scan.Clock
	random := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 0))
	means := rapid.Bool().Draw(t, "averaged")
	var batches []*scan.Readings
	for range rapid.IntRange(1, 6).Draw(t, "batches") {
		r := &scan.Readings{Clock: clock, Averaged: means, Amperes: make([]float64, rapid.IntRange(1, 200).Draw(t, "readings"))}
		pace(t, random, r)
		fill(t, random, r)
		spoil(t, r)
		batches = append(batches, r)
		clock = after(t, r)
	}
	return batches
}

// pace draws the times of a batch.
func pace(t *rapid.T, random *rand.Rand, r *scan.Readings) {
	if rapid.Bool().Draw(t, "regular") {
		r.Period = rapid.SampledFrom([]int64{1, 1e6, 333333333, 1e9, 11e9}).Draw(t, "period")
		return
	}
	r.Offsets = make([]int64, r.Len())
	for k := 1; k < r.Len(); k++ {
		r.Offsets[k] = r.Offsets[k-1] + 1 + random.Int64N(2e9)
	}
}

// fill draws currents of either sign over several decades, and what goes with them.
func fill(t *rapid.T, random *rand.Rand, r *scan.Readings) {
	scale := math.Pow(10, rapid.Float64Range(-3, 3).Draw(t, "decade"))
	mean := rapid.SampledFrom([]float64{0, 1, -1, 10, -10}).Draw(t, "mean")
	for k := range r.Amperes {
		r.Amperes[k] = scale * (mean + random.NormFloat64())
	}
	r.Usable = r.Len()
	r.Uncertainty = rapid.SampledFrom([]int64{0, 0, 1e6, 3e8}).Draw(t, "uncertainty")
	thousandths := func(what string, least, most int) float64 {
		return float64(rapid.IntRange(least, most).Draw(t, what)) / 1000
	}
	r.NoiseAmperes, r.ZeroAmperes = thousandths("noise", 0, 1000), thousandths("zero", 0, 1000)
	r.GainRatio, r.Offset = thousandths("gain", 0, 10), thousandths("offset", -5000, 5000)
}

// spoil flags a few readings. An unusable one may hold anything; a time flag goes with a time that stands still.
func spoil(t *rapid.T, r *scan.Readings) {
	for range rapid.IntRange(0, 4).Draw(t, "flags") {
		k := rapid.IntRange(0, r.Len()-1).Draw(t, "at")
		quality := rapid.SampledFrom(scan.Causes[:]).Draw(t, "cause")
		flagged(r, k, quality)
		r.Amperes[k] = math.NaN()
		if quality&(scan.TimeRepeated|scan.TimeBackwards) != 0 && k > 0 && r.Period == 0 {
			r.Offsets[k] = r.Offsets[k-1]
		}
	}
}

// after draws where the next batch begins.
func after(t *rapid.T, r *scan.Readings) scan.Clock {
	last := r.Len() - 1
	pause := rapid.SampledFrom([]int64{1, 1e6, 1e9, 30e9}).Draw(t, "pause")
	next := scan.Clock{ // its uncertainty is drawn with what fills it
		Epoch: r.Epoch, Sequence: r.Sequence + uint64(r.Len()) + rapid.SampledFrom([]uint64{0, 0, 0, 7}).Draw(t, "lost"),
		Wall: r.WallAt(last) + pause, Monotonic: r.At(last) + pause,
	}
	if rapid.IntRange(0, 4).Draw(t, "restart") == 0 {
		next.Epoch++
		next.Monotonic = 0
		next.Wall += rapid.SampledFrom([]int64{0, 5e9, -3600e9}).Draw(t, "wall")
	}
	return next
}

// recut cuts the same readings otherwise.
func recut(t *rapid.T, batches []*scan.Readings) []*scan.Readings {
	var parts []*scan.Readings
	for _, r := range batches {
		for i := 0; i < r.Len(); {
			j := rapid.IntRange(i+1, r.Len()).Draw(t, "cut")
			parts = append(parts, cut(r, i, j))
			i = j
		}
	}
	return parts
}

// drawn is a configuration for a history.
func drawn(t *rapid.T) charge.Config {
	return charge.Config{
		GapNanos:     rapid.SampledFrom([]int64{0, second, 10 * second}).Draw(t, "limit"),
		BoundAmperes: 100, SaturatedBoundAmperes: 1000, ChargeIsPositive: rapid.Bool().Draw(t, "charge is positive"),
	}
}

// same compares totals: whole numbers exactly, charge to one microcoulomb, that in gaps to as many as given, all else to 1e-12.
func same(t *rapid.T, want, got charge.Totals, gaps int64) {
	t.Helper()
	forgive(&want.OutMicrocoulombs, &got.OutMicrocoulombs, 1)
	forgive(&want.InMicrocoulombs, &got.InMicrocoulombs, 1)
	forgive(&want.OffsetMicrocoulombs, &got.OffsetMicrocoulombs, 1)
	forgive(&want.GapAssumedNetMicrocoulombs, &got.GapAssumedNetMicrocoulombs, gaps)
	forgive(&want.GapBoundMicrocoulombs, &got.GapBoundMicrocoulombs, gaps)
	if diff := cmp.Diff(want, got, cmpopts.EquateApprox(1e-12, 0)); diff != "" {
		t.Fatal("totals (-want +got):\n", diff)
	}
}

// forgive takes a small difference away.
func forgive(want, got *int64, most int64) {
	if *got-*want <= most && *want-*got <= most {
		*got = *want
	}
}

// rounding lets the charges of a gap differ by one microcoulomb.
var rounding = cmp.FilterPath(
	func(p cmp.Path) bool { return strings.HasSuffix(p.Last().String(), "Microcoulombs") },
	cmp.Comparer(func(a, b int64) bool { return a-b <= 1 && b-a <= 1 }))

// The published semantics once more, in exact arithmetic and with nothing clever.
func TestAccountAgreesWithTheSlowIntegrator(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		config, batches := drawn(t), history(t)
		account, err := charge.New(config)
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range batches {
			account.Apply(r)
		}
		want, gaps := oracle(config, batches)
		got := account.Totals()
		want.LastSequence, want.ToWall, want.ToMonotonic = got.LastSequence, got.ToWall, got.ToMonotonic
		same(t, want, got, int64(want.GapCount))
		if diff := cmp.Diff(gaps, account.LongestGaps(), rounding); diff != "" {
			t.Fatal("gaps (-want +got):\n", diff)
		}
	})
}

func TestCutIntoOtherBatchesTheSameIsCounted(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		config, batches := drawn(t), history(t)
		whole, again, parts := must(config, t), must(config, t), must(config, t)
		for _, r := range batches {
			whole.Apply(r)
			again.Apply(r)
		}
		for _, r := range recut(t, batches) {
			parts.Apply(r)
		}
		if diff := cmp.Diff(whole.LongestGaps(), parts.LongestGaps()); diff != "" {
			t.Fatal("gaps (-whole +cut):\n", diff)
		}
		same(t, whole.Totals(), parts.Totals(), 0)
		if whole.Totals() != again.Totals() {
			t.Fatal("not the same bits the second time")
		}
	})
}

func must(config charge.Config, t *rapid.T) *charge.Account {
	account, err := charge.New(config)
	if err != nil {
		t.Fatal(err)
	}
	return account
}

// A terampere makes a microcoulomb so small that the totals show the last bit of the sums.
func TestRegularAndIrregularPathAgreeToTheLastPlaces(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		random := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		amperes := make([]float64, rapid.IntRange(2, 1000).Draw(t, "readings"))
		mean := rapid.SampledFrom([]float64{0, 2, -2, 5, -5}).Draw(t, "mean")
		for k := range amperes {
			amperes[k] = 3e11 / float64(len(amperes)) * (mean + random.NormFloat64())
		}
		config := charge.Config{BoundAmperes: 1, SaturatedBoundAmperes: 1}
		fast, slow := must(config, t), must(config, t)
		r := regular(0, rapid.SampledFrom([]int64{1e9, 333333333}).Draw(t, "period"), amperes...)
		r.Averaged = rapid.Bool().Draw(t, "averaged")
		// A first reading on its own opens both alike, so that the same mean stands for the same time.
		opening := regular(0, r.Period, 0)
		r.Sequence, r.Monotonic = 1, r.Period
		fast.Apply(opening)
		slow.Apply(opening)
		fast.Apply(r)
		slow.Apply(irregular(r))
		a, b := fast.Totals(), slow.Totals()
		agree(t, "out", float64(a.OutMicrocoulombs), float64(b.OutMicrocoulombs), 1)
		agree(t, "in", float64(a.InMicrocoulombs), float64(b.InMicrocoulombs), 1)
		agree(t, "square", a.SquareAmpereSeconds, b.SquareAmpereSeconds, 0)
	})
}

// agree allows a relative difference of 1e-15, or the step of what is compared.
func agree(t *rapid.T, what string, fast, slow, step float64) {
	t.Helper()
	if math.Abs(fast-slow) > max(step, 1e-15*slow) {
		t.Fatalf("%s: regular %.17g, irregular %.17g: off by %.2g", what, fast, slow, fast/slow-1)
	}
}
