package biasfilter

import (
	"errors"
	"fmt"
	"math"
)

// Mark is a time at which the charge is known from elsewhere, as that of a full battery is.
type Mark struct {
	// MonotonicNanos is when, within the newest summary.
	MonotonicNanos int64
	// Coulombs is the net charge that has gone through the conductor in the positive direction, counted from an origin that stays the same:
	// where positive is discharge, the stored charge with its sign turned.
	Coulombs float64
	// UncertaintyCoulombs is its standard uncertainty; the errors of two marks are independent.
	UncertaintyCoulombs float64
}

// span is a channel's raw charge since the last mark.
type span struct {
	Valid    bool    `json:"valid"` // nothing is missing
	Coulombs float64 `json:"coulombs"`
	White    float64 `json:"white_square_coulombs"` // variance that the noise of the readings gives it
}

// mostApart is how many seconds may be missing from a raw integral in a summary before a mark cannot be compared with the one before.
const mostApart = 1

// add takes a summary. In a rest that was believed B takes the noise and all, so none is left beside it.
func (s *span) add(n *reading, load bool) {
	s.Valid = s.Valid && n.integral && n.apart <= mostApart
	s.Coulombs += n.coulombs
	if load {
		s.White += n.noise * n.seconds * n.seconds
	}
}

// Mark takes a mark after the newest summary. Two of them measure what B has gained in between, for each channel
//
//	Q_raw(t₁,t₂) − (X₂ − X₁) = B − M − e₂ + e₁ + n,
//
// with e the marks' errors, which the channels have in common, and n the noise of the readings. Marks that contradict each other
// by the gate teach nothing and make a note; the newer is the one the next is held against. An error leaves everything as it was.
func (e *Estimator) Mark(m Mark) error {
	if err := e.timely(m); err != nil {
		return err
	}
	f := e.filter
	f.draw(e.markNew, 0, m.UncertaintyCoulombs*m.UncertaintyCoulombs)
	if e.memory.Marked && e.agrees(m) {
		for _, c := range e.channels {
			if c.Span.Valid {
				f.update(e.markForm(c), e.gained(c, m), c.Span.White+c.lag(m))
			}
		}
	}
	for _, c := range e.channels {
		f.clone(c.at.mark, c.at.charge)
		c.Span = span{Valid: c.Begun, White: c.lag(m)}
	}
	f.clone(e.markError, e.markNew)
	f.draw(e.markNew, 0, 0)
	e.memory.Marked, e.memory.MarkNanos, e.memory.MarkCoulombs = true, m.MonotonicNanos, m.Coulombs
	return nil
}

// timely refuses marks that cannot be placed.
func (e *Estimator) timely(m Mark) error {
	first, last, begun := int64(math.MinInt64), int64(math.MinInt64), false
	for _, c := range e.channels {
		if c.Begun {
			first, last, begun = max(first, c.First), max(last, c.Last), true
		}
	}
	switch {
	case !finite(m.Coulombs) || !(m.UncertaintyCoulombs > 0 && finite(m.UncertaintyCoulombs)):
		return fmt.Errorf("a mark of %g C ± %g C: both must be finite, the uncertainty above 0", m.Coulombs, m.UncertaintyCoulombs)
	case !begun:
		return errors.New("a mark before the first summary")
	case m.MonotonicNanos > last:
		return fmt.Errorf("a mark %g s in the future", float64(m.MonotonicNanos-last)*1e-9)
	case m.MonotonicNanos < first:
		return fmt.Errorf("a mark %g s before the newest summary: hand it over before the next one", float64(first-m.MonotonicNanos)*1e-9)
	case e.memory.Marked && m.MonotonicNanos <= e.memory.MarkNanos:
		return errors.New("a mark out of order: not later than the one before")
	}
	return nil
}

// lag is the variance of the charge between a mark and the end of the channel's newest summary, where B stands.
func (c *channel) lag(m Mark) float64 {
	if !c.now.known || !c.Begun {
		return 0
	}
	charge := c.now.mean * float64(m.MonotonicNanos-c.Last) * 1e-9
	return charge * charge
}

func (e *Estimator) markForm(c *channel) []term {
	e.form = append(e.form[:0], term{c.at.charge, 1}, term{c.at.mark, -1}, term{e.markNew, -1}, term{e.markError, 1})
	return e.form
}

// gained is what two marks say a channel's raw integral is too large by.
func (e *Estimator) gained(c *channel, m Mark) float64 {
	return c.Span.Coulombs - (m.Coulombs - e.memory.MarkCoulombs)
}

// agrees holds a mark against the one before on every channel.
func (e *Estimator) agrees(m Mark) bool {
	for _, c := range e.channels {
		if !c.Span.Valid {
			continue
		}
		expected, s := e.filter.value(e.markForm(c))
		innovation := e.gained(c, m) - expected
		s += c.Span.White + c.lag(m)
		if innovation*innovation > e.settings.Gate*s {
			e.note(c.name, "marks contradict", "the charge between two marks is off by %.4g C ± %.2g C (σ), %.1f σ: nothing was learnt from them",
				innovation, math.Sqrt(s), math.Abs(innovation)/math.Sqrt(s))
			return false
		}
	}
	return true
}
