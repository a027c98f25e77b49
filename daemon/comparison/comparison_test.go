package comparison_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/google/go-cmp/cmp"
	"gonum.org/v1/gonum/stat"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"

	"github.com/ampledger/ampledger/daemon/comparison"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// said makes a record on one channel.
func said(generation, sequence uint64, offset, charge float64) *comparison.Record {
	return &comparison.Record{
		Device: "adc0", OpeningSequence: 1, Generation: generation, ThroughSequence: sequence, WallNanos: int64(sequence) * 1e9,
		Channels: []*ampledgerv1.ChannelRecord{{
			Channel: "shunt", OffsetKnown: true, OffsetAmperes: offset, StandardUncertaintyAmperes: 0.5, ChargeChangeCoulombs: charge, ChargeUncertaintyCoulombs: 7,
		}},
	}
}

func TestHold(t *testing.T) {
	for name, c := range map[string]struct {
		own, inForce []*comparison.Record
		want         *ampledgerv1.ChannelComparison
	}{
		"nothing": {},
		"nothing in common": {
			own: []*comparison.Record{said(2, 1, 3, 0)}, inForce: []*comparison.Record{said(1, 2, 1, 0)},
		},
		"two summaries of three": {
			own:     []*comparison.Record{said(2, 1, 3, 10), said(2, 2, 99, 50), said(2, 3, 5, 30)},
			inForce: []*comparison.Record{said(1, 1, 1, 1), said(1, 3, 1, 3), said(1, 4, 1, 4)},
			want: &ampledgerv1.ChannelComparison{
				Channel: "shunt", SummaryCount: 2, FromWallNanos: 1e9, ToWallNanos: 3e9, OffsetAmperes: 5, OffsetUncertaintyAmperes: 0.5,
				MeanDifferenceAmperes: 3, DifferenceScatterAmperes: math.Sqrt2, ChargeDifferenceCoulombs: (30 - 3) - (10 - 1), ChargeUncertaintyCoulombs: 7,
			},
		},
		"one that was started again counts from there anew": {
			own:     []*comparison.Record{said(2, 1, 3, 10), said(2, 2, 3, 12), said(3, 3, 3, 0), said(3, 4, 3, 5)},
			inForce: []*comparison.Record{said(1, 1, 3, 0), said(1, 2, 3, 0), said(1, 3, 3, 0), said(1, 4, 3, 0)},
			want: &ampledgerv1.ChannelComparison{
				Channel: "shunt", SummaryCount: 4, FromWallNanos: 1e9, ToWallNanos: 4e9, OffsetAmperes: 3, OffsetUncertaintyAmperes: 0.5,
				ChargeDifferenceCoulombs: 2 + 5, ChargeUncertaintyCoulombs: 7,
			},
		},
	} {
		t.Run(name, func(t *testing.T) {
			channels, _ := comparison.Hold(c.own, c.inForce)
			var want []*ampledgerv1.ChannelComparison
			if c.want != nil {
				want = append(want, c.want)
			}
			if diff := cmp.Diff(want, channels, protocmp.Transform()); diff != "" {
				t.Errorf("(-want +got):\n%s", diff)
			}
		})
	}
}

// TestARestartOfTheDaemonIsAnotherEra: generations begin anew with it, and so do the charges.
func TestARestartOfTheDaemonIsAnotherEra(t *testing.T) {
	own := []*comparison.Record{said(2, 1, 3, 10), said(2, 2, 3, 12), said(2, 3, 3, 0), said(2, 4, 3, 5)}
	inForce := []*comparison.Record{said(1, 1, 1, 0), said(1, 2, 1, 0), said(1, 3, 1, 0), said(1, 4, 1, 0)}
	for _, records := range [][]*comparison.Record{own, inForce} {
		for _, r := range records[2:] {
			r.OpeningSequence = 2
		}
	}
	channels, _ := comparison.Hold(own, inForce)
	if got := channels[0].GetChargeDifferenceCoulombs(); got != 2+5 {
		t.Errorf("%g C more, want 7", got)
	}
}

// TestFiguresAgainstALibrary holds means, scatter and innovations of random records against gonum's.
func TestFiguresAgainstALibrary(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 6))
	var own, inForce []*comparison.Record
	var differences, squares, normalised []float64
	for k := range uint64(1000) {
		a, b := said(2, k, random.NormFloat64(), 0), said(1, k, random.NormFloat64(), 0)
		off, u := random.NormFloat64(), 0.5+random.Float64()
		a.Channels[0].InnovationAmperes, a.Channels[0].InnovationUncertaintyAmperes = proto.Float64(off), u
		own, inForce = append(own, a), append(inForce, b)
		differences = append(differences, a.Channels[0].OffsetAmperes-b.Channels[0].OffsetAmperes)
		squares, normalised = append(squares, off*off), append(normalised, off*off/(u*u))
	}
	got, _ := comparison.Hold(own, inForce)
	for name, pair := range map[string][2]float64{
		"mean difference":   {got[0].GetMeanDifferenceAmperes(), stat.Mean(differences, nil)},
		"scatter":           {got[0].GetDifferenceScatterAmperes(), stat.StdDev(differences, nil)},
		"innovations":       {got[0].GetInnovationRmsAmperes(), math.Sqrt(stat.Mean(squares, nil))},
		"normalised square": {got[0].GetInnovationNormalisedSquareRatio(), stat.Mean(normalised, nil)},
	} {
		if math.Abs(pair[0]-pair[1]) > 1e-12*math.Abs(pair[1])+1e-15 {
			t.Errorf("%s: %g, the library says %g", name, pair[0], pair[1])
		}
	}
	if got[0].GetInnovationCount() != 1000 {
		t.Errorf("%d innovations", got[0].GetInnovationCount())
	}
	if self, _ := comparison.Hold(own, own); self[0].GetMeanDifferenceAmperes() != 0 || self[0].GetDifferenceScatterAmperes() != 0 {
		t.Errorf("against itself: %v", self[0])
	}
}

func derives(sequence uint64, values ...*ampledgerv1.DerivedValue) *comparison.Record {
	return &comparison.Record{Device: "adc0", ThroughSequence: sequence, Outputs: values}
}

func charged(unit string, v float64) *ampledgerv1.DerivedValue {
	return &ampledgerv1.DerivedValue{Name: "state_of_charge", Unit: unit, Value: v, UncertaintyValue: 0.01}
}

func TestDerivedQuantities(t *testing.T) {
	age := &ampledgerv1.DerivedValue{Name: "age", Unit: "s", Value: 3}
	_, got := comparison.Hold(
		[]*comparison.Record{derives(1, charged("1", 0.5)), derives(2, charged("1", 0.6), age), derives(3, charged("1", 0.9))},
		[]*comparison.Record{derives(1, charged("1", 0.4)), derives(2, charged("1", 0.4)), derives(3, charged("%", 40))},
	)
	want := []*ampledgerv1.DerivedComparison{
		{Newest: charged("1", 0.9), SummaryCount: 2, MeanDifferenceValue: 0.15},
		{Newest: age},
	}
	if diff := cmp.Diff(want, got, protocmp.Transform(), cmp.Comparer(func(a, b float64) bool { return math.Abs(a-b) < 1e-12 })); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}
