package pipeline

import (
	"math"

	"github.com/ampledger/ampledger/daemon/charge"
	"github.com/ampledger/ampledger/daemon/offset"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// corrected is what was learned afterwards of a channel's charge, as of one moment, in coulombs and in the sign of the readings.
type corrected struct {
	later       float64 // to be subtracted beside the offset that was subtracted as the charge was counted
	uncertainty float64 // standard uncertainty of all that is subtracted, the gain's contained, noise apart
	known       bool    // an estimator gave it; else the uncertainty is what the stages stated
	zero        float64 // ZeroCoulombs of the account at that moment
}

// since adds what the stages stated from that moment up to totals of the same account.
func (c corrected) since(t charge.Totals) corrected {
	if !c.known {
		u := t.Uncertainty()
		return corrected{uncertainty: u.Zero + u.Gain, zero: t.ZeroCoulombs}
	}
	c.uncertainty += t.ZeroCoulombs - c.zero
	c.zero = t.ZeroCoulombs
	return c
}

// stand is where a channel stood at the end of a summary, and at its beginning.
type stand struct {
	lane   *Lane
	before point
	after  point
	plays  []float64 // mean outputs of all its operators
}

// point is a moment of a channel's account.
type point struct {
	corrected
	applied float64 // offset subtracted since the pipeline began, coulombs, in the sign of the readings
	nanos   int64   // time integrated since then, without that away
	net     int64   // microcoulombs counted since then
	zeroNow float64 // standard uncertainty of the zero in force, amperes
	gainNow float64 // and of the gain, relative
}

// by gives the correction after an answer of an estimator whose first summary began at origin. What it says counts from there; what was
// corrected before stays, and the uncertainties add up linearly, since both may well err in the same direction.
func (p *stand) by(said corrected, origin point) corrected {
	if !said.known {
		return p.after.corrected
	}
	return corrected{
		later:       origin.later + said.later - (p.after.applied - origin.applied),
		uncertainty: origin.uncertainty + said.uncertainty, known: true, zero: p.after.zero,
	}
}

// summarise sums the channel up since the summary before and begins the next.
func (l *Lane) summarise() (*plugin.ChannelSummary, stand) {
	t := &l.tally
	celsius, known := t.Celsius()
	totals := l.account.Totals()
	since := totals.Since(l.summed)
	summary := &plugin.ChannelSummary{
		Name: l.Name, ReadingCount: uint32(t.Count), MeanAmperes: t.Mean(), VarianceSquareAmperes: t.Variance(),
		MinimumAmperes: t.Minimum, MaximumAmperes: t.Maximum, UnusableCount: uint32(t.Unusable),
		TemperatureCelsius: celsius, TemperatureKnown: known,
		IntegralCoulombs: l.sign() * coulombs(since.Net()+since.OffsetMicrocoulombs), IntegralSeconds: since.HeldSeconds(),
	}
	l.tally = offset.Tally{}
	return summary, l.stands(totals, l.sign()*coulombs(totals.OffsetMicrocoulombs))
}

// stands notes where the channel stands, applied being the offset subtracted since the pipeline began.
func (l *Lane) stands(totals charge.Totals, applied float64) stand {
	now := point{
		l.corrected.since(totals), applied, totals.DurationNanos - totals.AwayNanos, totals.Net(), l.readings.ZeroAmperes, l.readings.GainRatio,
	}
	at := stand{lane: l, before: l.standing, after: now, plays: l.plays.Take(nil)}
	l.summed, l.standing = totals, now
	return at
}

// believed is the account with the uncertainty that is known now: an estimator's, if it states one, in the place of what the stages stated.
func (l *Lane) believed() charge.Totals {
	t := l.account.Totals()
	if l.corrected.known {
		t.ZeroCoulombs, t.GainRatio = l.corrected.since(t).uncertainty, 0
	}
	return t
}

// counted is the lane the conductor's charge is taken from; nil = it is not bound yet.
func (c *Conductor) counted() *Lane {
	for _, lane := range c.lanes {
		if lane.Name == c.config.ChargeFrom && lane.account != nil {
			return lane
		}
	}
	return nil
}

// charge is what the ledger holds of the lane, as estimators get it.
func (l *Lane) charge() *plugin.Charge {
	counted, believed := l.account.Totals(), l.believed()
	u := believed.Uncertainty()
	return &plugin.Charge{
		OutCoulombs: coulombs(l.ledger.OutMicrocoulombs + counted.OutMicrocoulombs), InCoulombs: coulombs(l.ledger.InMicrocoulombs + counted.InMicrocoulombs),
		AdjustmentCoulombs: coulombs(l.ledger.AdjustmentMicrocoulombs + l.adjustment()), NetUncertaintyCoulombs: u.Zero + u.Gain + l.ledger.ZeroCoulombs,
		ZeroCoulombs: counted.ZeroCoulombs, GainRatio: counted.GainRatio, NoiseSquareCoulombs: counted.NoiseSquareCoulombs,
		GapBoundCoulombs: coulombs(counted.GapBoundMicrocoulombs),
	}
}

// adjustment is what is to be added to net as far as is known now, in microcoulombs.
func (l *Lane) adjustment() int64 { return l.microcoulombs(l.corrected) }

func (l *Lane) microcoulombs(c corrected) int64 { return int64(math.Round(-l.sign() * c.later * 1e6)) }

// adjust posts what was learned later of the charge, if it has moved by more than a threshold, or at all if final or if another estimator took
// over.
func (l *Lane) adjust(sink Sink, threshold int64, resting, final bool) {
	moved := l.adjustment() - l.adjusted
	if !l.cutsOver() && (moved == 0 || !final && moved <= threshold && -moved <= threshold) {
		return
	}
	reason := "other channel or mark"
	switch {
	case l.cutsOver():
		reason = l.cutOver.text
	case resting:
		reason = "rest"
	}
	at, zero := l.summed, l.believed().ZeroCoulombs
	if sink.Post(&Posting{
		Kind: Adjustment, Lane: l, Epoch: l.epoch, Estimator: l.last.Estimator, Generation: l.last.Generation,
		AdjustmentMicrocoulombs: moved, Reason: reason,
		Counted: charge.Totals{
			FirstSequence: at.LastSequence, LastSequence: at.LastSequence, FromWall: at.ToWall, ToWall: at.ToWall,
			FromMonotonic: at.ToMonotonic, ToMonotonic: at.ToMonotonic, ZeroCoulombs: zero - l.posted.ZeroCoulombs,
		},
	}) {
		l.adjusted += moved
		if l.cutsOver() {
			l.cutOver = cutOver{}
		}
		l.posted.ZeroCoulombs = zero
	}
}

// sign turns net charge, positive out of the pack, into the sign of the readings.
func (l *Lane) sign() float64 {
	if l.ChargeIsPositive {
		return -1
	}
	return 1
}

func coulombs(micro int64) float64 { return float64(micro) * 1e-6 }
