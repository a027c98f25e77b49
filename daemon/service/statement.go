package service

import (
	"cmp"
	"math"
	"slices"

	"github.com/ampledger/ampledger/daemon/charge"
	"github.com/ampledger/ampledger/daemon/pipeline"
	"github.com/ampledger/ampledger/daemon/store"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// listedGaps is how many gaps a statement lists.
const listedGaps = 1000

// Statement states the charge of a conductor up to now: what its ledger held at the opening, if it held anything, and what was
// counted since, all channels at one moment between two frames.
func Statement(c *pipeline.Conductor, openings map[string]Opening) *ampledgerv1.GetStatementResponse {
	response := &ampledgerv1.GetStatementResponse{Conductor: c.Name(), ChargeFrom: c.ChargeFrom()}
	for _, counted := range c.Accounts() {
		response.Accounts = append(response.Accounts, accountOf(counted.Lane.Name, join(openings[counted.Lane.Name], counted)))
	}
	return response
}

// EntryTotals gives counted totals as a ledger entry holds them.
func EntryTotals(t charge.Totals) store.Totals {
	return store.Totals{
		DurationNanos: t.DurationNanos, OutMicrocoulombs: t.OutMicrocoulombs, InMicrocoulombs: t.InMicrocoulombs,
		OffsetMicrocoulombs: t.OffsetMicrocoulombs, SquareAmpereSeconds: t.SquareAmpereSeconds, ReadingCount: t.Readings,
		Unusable: unusable(t), GapCount: t.GapCount, GapNanos: t.GapNanos, GapAssumedMicrocoulombs: t.GapAssumedNetMicrocoulombs,
		GapBoundMicrocoulombs: t.GapBoundMicrocoulombs, NoiseSquareCoulombs: t.NoiseSquareCoulombs, ZeroCoulombs: t.ZeroCoulombs,
	}
}

func unusable(t charge.Totals) store.Unusable {
	by := t.Unusable
	return store.Unusable{
		Missing: by[0], NotFinite: by[1], Saturated: by[2], OutOfRange: by[3], TimeRepeated: by[4], TimeBackwards: by[5],
		AuxiliaryMissing: by[6], Lost: t.Lost,
	}
}

// EntryGap gives a counted gap as a ledger entry details it.
func EntryGap(g charge.Gap) store.Gap {
	return store.Gap{
		BeforeSequence: g.BeforeSequence, AfterSequence: g.AfterSequence, FromWallNanos: g.FromWall, FromMonotonicNanos: g.FromMonotonic,
		DurationNanos: g.DurationNanos, AssumedNetMicrocoulombs: g.AssumedNetMicrocoulombs, BoundMicrocoulombs: g.BoundMicrocoulombs,
		Causes: g.Causes.Names(nil),
	}
}

// join adds what was counted since to what the ledger held.
func join(o Opening, counted pipeline.Account) Opening {
	t := counted.Total
	b := &o.Balance
	if t.Readings > 0 {
		if b.ReadingCount == 0 {
			b.FirstSequence, b.FromWallNanos = t.FirstSequence, t.FromWall
		}
		b.LastSequence, b.ToWallNanos = t.LastSequence, t.ToWall
	}
	b.GainCoulombs += t.GainRatio * float64(t.Net()) * 1e-6
	b.Totals.Add(EntryTotals(t))
	b.AdjustmentMicrocoulombs += counted.Adjustment
	gaps := slices.Clone(o.Gaps)
	for _, g := range counted.Gaps {
		gaps = append(gaps, EntryGap(g))
	}
	o.Gaps = longest(gaps)
	return o
}

// longest keeps the longest gaps, in the order they came; of equally long ones the earliest.
func longest(gaps []store.Gap) []store.Gap {
	if len(gaps) <= listedGaps {
		return gaps
	}
	places := make([]int, len(gaps))
	for i := range places {
		places[i] = i
	}
	slices.SortStableFunc(places, func(a, b int) int { return cmp.Compare(gaps[b].DurationNanos, gaps[a].DurationNanos) })
	places = places[:listedGaps]
	slices.Sort(places)
	kept := make([]store.Gap, listedGaps)
	for i, place := range places {
		kept[i] = gaps[place]
	}
	return kept
}

// accountOf writes sums down as an account.
func accountOf(channel string, o Opening) *ampledgerv1.Account {
	b := &o.Balance
	return &ampledgerv1.Account{
		Channel: channel, FromWallNanos: b.FromWallNanos, ToWallNanos: b.ToWallNanos, FirstSequence: b.FirstSequence, LastSequence: b.LastSequence,
		OutMicrocoulombs: b.OutMicrocoulombs, InMicrocoulombs: b.InMicrocoulombs, NetMicrocoulombs: b.NetMicrocoulombs(),
		ThroughputMicrocoulombs: b.ThroughputMicrocoulombs(), SquareAmpereSeconds: b.SquareAmpereSeconds, OffsetMicrocoulombs: b.OffsetMicrocoulombs,
		AdjustmentMicrocoulombs: b.AdjustmentMicrocoulombs, BalanceMicrocoulombs: b.NetMicrocoulombs() + b.AdjustmentMicrocoulombs,
		DurationNanos: b.DurationNanos, ReadingCount: b.ReadingCount,
		Unusable: unusableOf(&b.Totals), Gaps: gapTotalsOf(&b.Totals), LongestGaps: gapsOf(o.Gaps),
		Uncertainty: uncertaintyOf(b), EntryCount: b.EntryCount, NewestEntrySequence: b.NewestEntrySequence,
	}
}

func unusableOf(t *store.Totals) *ampledgerv1.UnusableCounts {
	u := &t.Unusable
	return &ampledgerv1.UnusableCounts{
		MissingCount: u.Missing, NotFiniteCount: u.NotFinite, SaturatedCount: u.Saturated,
		OutOfRangeCount: u.OutOfRange, TimeRepeatedCount: u.TimeRepeated, TimeBackwardsCount: u.TimeBackwards,
		AuxiliaryMissingCount: u.AuxiliaryMissing, LostCount: u.Lost,
	}
}

func gapTotalsOf(t *store.Totals) *ampledgerv1.GapTotals {
	return &ampledgerv1.GapTotals{
		GapCount: t.GapCount, DurationNanos: t.GapNanos, AssumedNetMicrocoulombs: t.GapAssumedMicrocoulombs, BoundMicrocoulombs: t.GapBoundMicrocoulombs,
	}
}

func gapsOf(gaps []store.Gap) (all []*ampledgerv1.Gap) {
	for _, g := range gaps {
		all = append(all, &ampledgerv1.Gap{
			BeforeSequence: g.BeforeSequence, AfterSequence: g.AfterSequence, FromWallNanos: g.FromWallNanos, FromMonotonicNanos: g.FromMonotonicNanos,
			DurationNanos: g.DurationNanos, AssumedNetMicrocoulombs: g.AssumedNetMicrocoulombs, BoundMicrocoulombs: g.BoundMicrocoulombs,
			Causes: g.Causes,
		})
	}
	return all
}

// uncertaintyOf combines the parts as charge.Totals does.
func uncertaintyOf(b *store.Balance) *ampledgerv1.ChargeUncertainty {
	u := charge.Combine(math.Sqrt(max(0, b.NoiseSquareCoulombs)), math.Abs(b.GainCoulombs), b.ZeroCoulombs,
		float64(b.GapBoundMicrocoulombs)*1e-6/math.Sqrt(3))
	return &ampledgerv1.ChargeUncertainty{
		NoiseCoulombs: u.Noise, GainCoulombs: u.Gain, ZeroCoulombs: u.Zero, GapCoulombs: u.Gap,
		CombinedCoulombs: u.Combined, Interval95Coulombs: u.Interval95,
	}
}
