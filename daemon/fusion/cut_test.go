package fusion_test

import (
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"github.com/ampledger/ampledger/daemon/scan"
)

// told is all that is said of one usable reading. Amperes are bits, so that nothing is equal but the same.
type told struct {
	sequence                    uint64
	time                        int64
	amperes                     uint64
	noise, zero, gain, offset   float64
	quality                     scan.Quality
	rounding                    float64
	stale                       bool
	estimator                   string
	generation                  uint64
	averaged, beforeAnyEstimate bool
}

// tellings lists what is said of each reading. What goes with a reading that is of no use is of none either.
func tellings(out []*scan.Readings) (all []told) {
	for _, r := range out {
		for k, y := range r.Amperes {
			each := told{sequence: r.Sequence + uint64(k), time: r.At(k), amperes: math.Float64bits(y), quality: r.QualityAt(k), averaged: r.Averaged}
			if each.quality == 0 {
				each.noise, each.zero, each.gain, each.rounding = r.NoiseAmperes, r.ZeroAmperes, r.GainRatio, r.RoundingAmperes
				each.offset, each.stale, each.estimator, each.generation, each.beforeAnyEstimate = r.Offset, r.Stale, r.Estimator, r.Generation, r.Age < 0
			}
			all = append(all, each)
		}
	}
	return all
}

// A driver may cut its frames as it likes.
func TestCutsChangeNoBit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		limit, all := gapLimit(t), history(t)
		want, wantShares := fuse(t, limit, all)
		got, gotShares := fuse(t, limit, recut(t, all))
		for i := range want {
			if diff := cmp.Diff(tellings(want[i]), tellings(got[i]), cmp.AllowUnexported(told{})); diff != "" {
				t.Fatalf("summary %d (-whole +cut):\n%s", i, diff)
			}
		}
		if diff := cmp.Diff(wantShares, gotShares); diff != "" {
			t.Fatal("shares (-whole +cut):\n", diff)
		}
	})
}

// Outputs end only where more is stated, so there are few of them: here one saturation of a few scans in the middle.
func TestAnOutputEndsWhereMoreIsStated(t *testing.T) {
	fine, coarse := channel(0, make([]float64, 30)...), channel(0, make([]float64, 30)...)
	for k := 10; k < 13; k++ {
		flag(fine, k, scan.Saturated)
	}
	flag(fine, 20, scan.Missing)
	out := apply(t, weighed(parts...), fine, coarse)
	if len(out) != 2 || out[0].Len() != 10 || out[1].Len() != 20 {
		t.Fatalf("%d outputs", len(out))
	}
	_, both := weights(t, parts, 3)
	_, alone := weights(t, parts, 2)
	for i, want := range []*scan.Readings{both, alone} {
		if got := out[i]; got.NoiseAmperes != want.NoiseAmperes || got.ZeroAmperes != want.ZeroAmperes || got.GainRatio != want.GainRatio {
			t.Errorf("output %d states %v, want %v", i, got, want)
		}
	}
}
