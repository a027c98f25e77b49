package fusion_test

import (
	"math"
	"slices"
	"testing"

	"github.com/ampledger/ampledger/daemon/fusion"
	"github.com/ampledger/ampledger/daemon/scan"
)

// parts are a fine channel of a short range and a coarse one of a long range.
var parts = []fusion.Part{
	{NoiseAmperes: 0.1, Readings: 100, ZeroAmperes: 0.05, GainRatio: 0.001, MeanAmperes: 50},
	{NoiseAmperes: 1, Readings: 100, ZeroAmperes: 0.5, GainRatio: 0.01, MeanAmperes: 50},
}

// An unusable channel is left out, scan by scan; only where all are is the fused reading.
func TestUnusableChannelsAreLeftOut(t *testing.T) {
	fine, coarse := channel(0, 1, 2, nan, 4, 100), channel(0, 3, 4, 5, nan, -300)
	flag(fine, 1, scan.Saturated)
	flag(fine, 4, scan.Saturated)
	flag(coarse, 4, scan.Saturated|scan.AuxiliaryMissing)
	w, _ := weights(t, parts, 3)
	var got []float64
	var quality []scan.Quality
	for _, r := range apply(t, weighed(parts...), fine, coarse) {
		got = append(got, r.Amperes...)
		for k := range r.Amperes {
			quality = append(quality, r.QualityAt(k))
		}
	}
	if want := []float64{w[0]*1 + w[1]*3, 4, 5, 4, -300}; !slices.Equal(got, want) {
		t.Errorf("fused %v, want %v", got, want)
	}
	if want := []scan.Quality{0, 0, 0, 0, scan.Saturated | scan.AuxiliaryMissing}; !slices.Equal(quality, want) {
		t.Errorf("quality %v, want %v", quality, want)
	}
}

// What is not a number is unusable even if nobody flagged it, also amid a batch that looks regular.
func TestNotFiniteReadingsAreFlagged(t *testing.T) {
	for _, bad := range []float64{nan, inf, -inf} {
		fine, coarse := channel(0, make([]float64, 100)...), channel(0, make([]float64, 100)...)
		fine.Amperes[70], coarse.Amperes[70], coarse.Amperes[90] = bad, bad, bad
		usable, causes := 0, scan.Quality(0)
		for _, r := range apply(t, weighed(parts...), fine, coarse) {
			usable, causes = usable+r.Usable, causes|r.Causes
		}
		if usable != 99 || causes != scan.NotFinite {
			t.Errorf("%v: %d usable, causes %v", bad, usable, causes)
		}
	}
}

func TestOffsetAndEstimateOfTheChannelsUsed(t *testing.T) {
	w, _ := weights(t, parts, 3)
	fine, coarse := channel(5, 1), channel(5, 1)
	fine.Estimate = scan.Estimate{Offset: 2, Age: 7, Estimator: "est", Generation: 3}
	coarse.Estimate = scan.Estimate{Offset: -1, Age: 9, Stale: true, Estimator: "est", Generation: 3}
	fine.RoundingAmperes, coarse.RoundingAmperes = 3, 4
	r := whole(t, weighed(parts...), fine, coarse)
	near(t, "offset", r.Offset, 2*w[0]-w[1], 1e-15)
	near(t, "rounding", r.RoundingAmperes, math.Hypot(3*w[0], 4*w[1]), 1e-15)
	if r.Age != 9 || !r.Stale || r.Estimator != "est" || r.Generation != 3 || r.Raw != nil || r.Averaged {
		t.Errorf("%+v", r)
	}
	flag(coarse, 0, scan.Missing)
	if r = whole(t, weighed(parts...), fine, coarse); r.Estimate != fine.Estimate {
		t.Errorf("of the fine one alone: %+v", r.Estimate)
	}
	coarse = channel(5, 1)
	if r = whole(t, weighed(parts...), fine, coarse); r.Age != -1 {
		t.Errorf("age %d where one has no estimate", r.Age)
	}
}

// The age of an output that begins later is that of its own first reading.
func TestAgeGoesOnWithinABatch(t *testing.T) {
	fine, coarse := channel(0, 1, 1, 1), channel(0, 1, 1, 1)
	fine.Age, coarse.Age = 7, 5
	flag(fine, 2, scan.Saturated)
	out := apply(t, weighed(parts...), fine, coarse)
	if len(out) != 2 || out[0].Age != 7 || out[1].Age != 5+2*second {
		t.Errorf("%+v", out)
	}
}

// A batch of which nothing is usable states what would hold if all were, and does not stay in what the summary states.
func TestNothingUsable(t *testing.T) {
	s := weighed(parts...)
	_, both := weights(t, parts, 3)
	r := one(t, s, 0, nan, nan)
	if r.Usable != 0 || r.ZeroAmperes != both.ZeroAmperes || r.Quality[0] != scan.Missing {
		t.Errorf("%+v", r)
	}
	_, alone := weights(t, parts, 1)
	if r = one(t, s, 1, 5, nan); r.ZeroAmperes != alone.ZeroAmperes || r.NoiseAmperes != alone.NoiseAmperes {
		t.Errorf("%+v, want what is stated of the first alone: %+v", r, alone)
	}
}

func TestNumberOfChannels(t *testing.T) {
	for _, n := range []int{-1, 0, 1, fusion.MostChannels + 1} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("%d channels are possible", n)
				}
			}()
			fusion.New(n, 0)
		}()
	}
}

// Before anything is known, all channels weigh the same.
func TestBeforeTheFirstWeigh(t *testing.T) {
	if r := one(t, fusion.New(2, 0), 0, 1, 2); r.Amperes[0] != 1.5 || r.ZeroAmperes != 0 {
		t.Errorf("%+v", r)
	}
}

// The channels are read in the same scans, so an error of a scan's time is one and the same for all of them, and for the fused reading.
func TestUncertaintyOfTheTimesIsTheScans(t *testing.T) {
	fine, coarse := channel(0, 1, nan, 3), channel(0, 3, 4, 5)
	fine.Uncertainty, coarse.Uncertainty = 5e6, 5e6
	for _, r := range apply(t, weighed(parts...), fine, coarse) {
		if r.Uncertainty != 5e6 {
			t.Errorf("the times of %v are known to %d ns, want 5 ms", r.Amperes, r.Uncertainty)
		}
	}
}
