package biasfilter

import (
	"math"

	"github.com/ampledger/ampledger/plugins/plugin"
	pluginv1 "github.com/ampledger/ampledger/proto/ampledger/plugin/v1"
)

// resting is a channel's part in a rest. A channel that does not rest has none; each draw of ρ is one rest of the conductor, in which
// channels of several devices take part, each from its own first summary to its last.
type resting struct {
	Now      bool    `json:"now"`
	Draw     uint64  `json:"draw"`     // of ρ it took part in last
	Credited bool    `json:"credited"` // its newest summary was believed
	Failing  bool    `json:"failing"`  // its newest summary did not pass the gate
	Noted    bool    `json:"noted"`    // the rejection was told
	Count    float64 `json:"count"`    // summaries that did not pass
	Seconds  float64 `json:"seconds"`  // since the first of them
	Coulombs float64 `json:"coulombs"` // raw integral meanwhile
	Applied  float64 `json:"applied"`  // and what B was moved by

	FusedCoulombs float64 `json:"fused_coulombs"` // the same of its share in the fused current
	FusedApplied  float64 `json:"fused_applied"`
}

// end ends a channel's rest.
func (r *resting) end() { *r = resting{Draw: r.Draw} }

// pass forgets rejections.
func (r *resting) pass() {
	*r = resting{Now: r.Now, Draw: r.Draw, Credited: r.Credited, Noted: r.Noted}
}

// kind tells whether a summary is a rest, and whether only for its quiescence.
func (e *Estimator) kind(s *plugin.Summary) (quiescent, rest bool) {
	switch {
	case s.GetRest() == pluginv1.Rest_REST_CERTAIN:
		return false, true
	case !e.settings.Quiescence || len(e.taken) == 0:
		return false, false
	}
	for _, c := range e.taken {
		offset, variance := e.filter.value(c.offset)
		n := &c.now
		quiet := n.known && n.scatter <= 4*max(c.noise*c.noise, c.floor*c.floor)
		if !quiet || math.Abs(n.mean-offset) > 3*math.Sqrt(e.quiescence*e.quiescence+variance) {
			return false, false
		}
	}
	return true, true
}

// join takes a channel into the rest going on, or begins one.
func (e *Estimator) join(c *channel, quiescent bool) {
	if c.Resting.Now && c.now.follows && quiescent == e.memory.Quiescent {
		c.hold()
		return
	}
	c.Resting.end()
	if c.Resting.Draw == e.memory.Draw || quiescent != e.memory.Quiescent || !e.anyResting() {
		e.drawResidual(quiescent)
	}
	c.Resting.Now, c.Resting.Draw = true, e.memory.Draw
	e.filter.draw(c.at.floor, 0, c.colour())
	copy(c.Held, c.Regressor[1:])
}

// hold takes z for what it was when the rest began. No current, no hysteresis: what z does in a rest is the noise of the very readings that are
// measured, over r, and h would be drawn towards r by it.
func (c *channel) hold() {
	for i, z := range c.Held {
		c.offset[2+i].by = z
	}
}

// release takes z for what it is.
func (c *channel) release() {
	for i := range c.Held {
		c.offset[2+i].by = c.Regressor[1+i]
	}
}

// drawResidual begins a rest of the conductor.
func (e *Estimator) drawResidual(quiescent bool) {
	e.memory.Draw++
	e.memory.Quiescent, e.memory.Residual = quiescent, e.settings.ResidualAmperes
	anew := 1 - standingShare
	if quiescent {
		e.memory.Residual, anew = e.quiescence, 1
	}
	e.filter.draw(e.residual, 0, anew*e.memory.Residual*e.memory.Residual)
}

// flows gives the form of the current in the rest going on, times a factor: what is drawn anew, and, if somebody called it a rest, what
// flows in each.
func (e *Estimator) flows(by float64) [2]term {
	if e.memory.Quiescent {
		return [2]term{{e.residual, by}, {e.standing, 0}}
	}
	return [2]term{{e.residual, by}, {e.standing, by}}
}

// restForm gives the form a rest measures on a channel.
func (e *Estimator) restForm(c *channel) []term {
	flows := e.flows(1)
	c.rest = append(append(append(c.rest[:0], c.offset...), flows[:]...), term{c.at.floor, 1})
	return c.rest
}

func (e *Estimator) anyResting() bool {
	for _, c := range e.channels {
		if c.Resting.Now {
			return true
		}
	}
	return false
}

// colour is the variance of ε: the floor's, that of the rounding where readings scatter too little for their mean to see through it, and what
// of the hysteresis no operator shows: all of it where none are given.
func (c *channel) colour() float64 {
	variance := c.floor * c.floor
	if c.now.count > 1 && 4*c.now.scatter < c.quiet*c.quiet {
		variance = max(variance, c.quiet*c.quiet)
	}
	variance += c.misfit * c.misfit
	if c.Blind {
		variance += c.play * c.play * float64(len(c.plays))
	}
	return variance
}

// repose handles a summary of a rest: it is believed, or nothing of it is.
func (e *Estimator) repose(quiescent bool) (believed bool) {
	believed = true
	for _, c := range e.taken {
		if c.now.known {
			e.join(c, quiescent)
			believed = e.judge(c) && believed
		}
	}
	believed = believed && !e.doubted() || e.reopen()
	for _, c := range e.taken {
		switch {
		case !c.now.known:
			c.Resting.end()
			c.load(e.filter)
			c.leaveUnchecked()
		case believed:
			e.credit(c)
		default:
			e.reject(c)
		}
	}
	if !believed {
		return false
	}
	for _, c := range e.taken {
		if c.now.known {
			e.filter.update(e.restForm(c), c.now.mean, c.now.variance)
		}
	}
	return true
}

// expected gives the innovation of a rest's summary and its variance.
func (e *Estimator) expected(c *channel) (innovation, variance float64) {
	mean, variance := e.filter.value(e.restForm(c))
	return c.now.mean - mean, variance + c.density*(c.now.apart+c.now.seconds) + c.now.variance
}

// judge holds a summary against the gate.
func (e *Estimator) judge(c *channel) (passes bool) {
	innovation, variance := e.expected(c)
	if innovation*innovation <= e.settings.Gate*variance {
		c.Resting.Failing = false
		return true
	}
	c.Resting.Failing = true
	c.Resting.Count++
	return false
}

// doubted tells whether a channel of another device does not believe the rest.
func (e *Estimator) doubted() bool {
	for _, c := range e.channels {
		if c.Resting.Now && c.Resting.Failing && c.Resting.Draw == e.memory.Draw {
			return true
		}
	}
	return false
}

// credit moves B over a believed summary. What the summaries before left open, the interval that leads into the rest and scans that were
// lost, counts as load; the rest itself counts whole: B += R − ρ·D. The fused current's summary is split as the channel's own.
func (e *Estimator) credit(c *channel) {
	f, n := e.filter, &c.now
	f.walk(c.at.zero, c.density, n.apart)
	seconds, coulombs, rest := n.seconds, n.coulombs, c.share
	switch {
	case !n.integral:
		c.integrate(f, seconds, 0, false, rest)
		seconds, coulombs, rest = 0, 0, share{}
	case !c.Resting.Credited || !n.follows:
		seconds = min(n.span, n.seconds)
		coulombs = n.mean * seconds
		rest = c.share.part(seconds/n.seconds, n.mean)
		c.integrate(f, n.seconds-seconds, n.coulombs-coulombs, true, c.share.less(rest))
	}
	f.walk(c.at.zero, c.density, seconds)
	e.settle(c.at.charge, seconds, coulombs)
	e.settle(c.at.fused, rest.seconds, rest.coulombs)
	c.Resting.pass()
	c.Resting.Credited, c.Unchecked, c.Weighed = true, 0, 0
	c.Span.add(n, false)
}

// settle moves a charge over some seconds of rest whose raw integral is coulombs.
func (e *Estimator) settle(charge int, seconds, coulombs float64) {
	if seconds == 0 && coulombs == 0 {
		return
	}
	e.filter.x[charge] += coulombs
	flows := e.flows(-seconds)
	e.filter.couple(charge, flows[:])
}

// reject treats a summary of a rest that is not believed as load, and says so once in a rest.
func (e *Estimator) reject(c *channel) {
	if c.Resting.Failing && !c.Resting.Noted {
		c.Resting.Noted = true
		e.noteRejected(c)
	}
	r, x := &c.Resting, e.filter.x
	before, fused := x[c.at.charge], x[c.at.fused]
	c.release()
	c.load(e.filter)
	r.Credited = false
	if r.Count == 0 {
		c.leaveUnchecked()
		return
	}
	r.Seconds += c.now.seconds
	r.Coulombs += c.now.coulombs
	r.Applied += x[c.at.charge] - before
	r.FusedCoulombs += c.share.coulombs
	r.FusedApplied += x[c.at.fused] - fused
}
