package biasfilter

import (
	"fmt"
	"math"
	"strconv"
)

// layout says where a channel's states stand in the filter.
type layout struct {
	zero   int // b, amperes
	drift  int // k, amperes per kelvin
	plays  int // h, amperes, the first of as many as the channel has operators
	gain   int // g, ratio
	charge int // B, coulombs
	floor  int // ε, amperes
	mark   int // M, coulombs
	end    int
	fused  int // B_f, coulombs, the same of all channels
}

func newLayout(at, plays int) layout {
	l := layout{zero: at, drift: at + 1, plays: at + 2}
	l.gain = l.plays + plays
	l.charge, l.floor, l.mark, l.end = l.gain+1, l.gain+2, l.gain+3, l.gain+4
	return l
}

// labels name the states, each by what it stands for, so that a snapshot can be taken over state by state.
func (e *Estimator) labels() []string {
	labels := make([]string, e.filter.n)
	for _, c := range e.channels {
		name := strconv.Quote(c.name)
		for at, what := range map[int]string{
			c.at.zero: "zero", c.at.drift: "drift", c.at.gain: "gain", c.at.charge: "charge", c.at.floor: "floor", c.at.mark: "mark",
		} {
			labels[at] = name + " " + what
		}
		for i, width := range c.plays {
			labels[c.at.plays+i] = fmt.Sprintf("%s play %v A", name, width)
		}
	}
	labels[e.residual], labels[e.standing] = "residual", "standing residual"
	labels[e.markError], labels[e.markNew], labels[e.fused] = "mark error", "new mark error", "fused charge"
	return labels
}

// standingShare is the part of the residual current's variance that is the same in each rest.
const standingShare = 0.5

// prior sets the states of θ and the standing residual current to what is known beforehand; the rest of the state is 0.
func (e *Estimator) prior() {
	for _, c := range e.channels {
		c.forget(e.filter, 0)
	}
	e.filter.draw(e.standing, 0, standingShare*e.settings.ResidualAmperes*e.settings.ResidualAmperes)
}

// forget sets a channel's θ to the prior, its zero having walked for some seconds since it held.
func (c *channel) forget(f *filter, seconds float64) {
	f.draw(c.at.zero, 0, c.zero*c.zero+c.density*seconds)
	f.draw(c.at.drift, 0, c.drift*c.drift)
	for i := range c.plays {
		f.draw(c.at.plays+i, 0, c.play*c.play)
	}
	f.draw(c.at.gain, 0, c.gain*c.gain)
}

// priorVariance of the offset at the newest regressors.
func (c *channel) priorVariance(seconds float64) float64 {
	variance := c.zero*c.zero + c.density*seconds
	for _, a := range c.offset[1:] {
		sigma := c.play
		if a.at == c.at.drift {
			sigma = c.drift
		}
		variance += a.by * a.by * sigma * sigma
	}
	return variance
}

// finite tells whether a figure can be computed with: no device measures a million million of anything here.
func finite(v float64) bool { return math.Abs(v) <= 1e12 }
