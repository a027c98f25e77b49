package coulombsoc

import "math"

// track is an estimate as of a mark, with where the ledger stood then. What has flowed since is reckoned anew at each summary, from what the
// ledger's figures have grown by: one that was missed costs nothing.
type track struct {
	Known    bool     `json:"known"` // the charge stored; capacity and efficiency always are
	From     odometer `json:"from"`
	Split    odometer `json:"split"` // where counting by flow hands over to counting by what is known of net, see to
	Estimate estimate `json:"estimate"`
}

// begin puts the track at a moment.
func (t *track) begin(now odometer) { t.From, t.Split = now, now }

// turn moves the split to where the ledger stands now, if net is so much better known that it is the better place.
func (t *track) turn(now *odometer) {
	if now.Zero+now.Uncertainty < t.Split.Zero+t.Split.Uncertainty {
		t.Split = *now
	}
}

// flow is what flowed between two moments as it was counted: what was learnt later is left out, for it may be of charge from before.
func flow(from, to *odometer) moved {
	return moved{
		out: to.Out - from.Out, in: to.In - from.In, seconds: to.Seconds - from.Seconds, noise: to.Noise - from.Noise, gap: to.Gap - from.Gap,
		gainedOut: to.GainedOut - from.GainedOut, gainedIn: to.GainedIn - from.GainedIn, zero: to.Zero - from.Zero,
	}
}

// to gives what has moved since the track began, in the better of two ways. The one is what was counted. The other counts only to the split, and
// from there takes the difference of net as it was known there and as it is known now, adjustments contained: the error of the zero in
// it is no larger than both together allow, as long as they are not opposed.
func (t *track) to(now *odometer) moved {
	counted := flow(&t.From, now)
	known := counted
	known.adjustment = now.Adjustment - t.Split.Adjustment
	known.zero = t.Split.Zero - t.From.Zero + math.Hypot(t.Split.Uncertainty, now.Uncertainty)
	if known.zero < counted.zero {
		return known
	}
	return counted
}

// at gives the estimate as of a moment.
func (t *track) at(now *odometer, walks *vector) estimate {
	e := t.Estimate
	m := t.to(now)
	if !t.Known {
		m = moved{seconds: m.seconds}
	}
	e.move(&m, walks)
	if !t.Known {
		e.forget(stored)
	}
	return e
}

// statement is what a mark says: the charge stored is share times the capacity plus coulombs, with an error of variance r.
type statement struct{ share, coulombs, r float64 }

// start takes a statement for what is stored.
func (s *statement) start(e estimate, now odometer) track {
	t := track{Known: true, Estimate: e}
	t.Estimate.set(stored, s.share, s.coulombs, s.r)
	t.begin(now)
	return t
}

// against gives how far a statement is off what is expected, and the variance of that.
func (s *statement) against(e *estimate) (innovation, variance float64) {
	h := s.row()
	return s.coulombs - h.times(&e.Mean), e.variance(&h) + s.r
}

func (s *statement) row() vector { return vector{stored: 1, capacity: -s.share} }
