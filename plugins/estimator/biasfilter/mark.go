package biasfilter

import (
	"fmt"
	"math"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// mark is a time at which the charge is known from elsewhere, as that of a full battery is.
type mark struct {
	nanos       int64   // when: as of a summary's last scan
	within      int64   // ns, the length of that summary
	coulombs    float64 // that have gone through the conductor in the sign of the readings, from an origin that stays the same
	uncertainty float64 // coulombs, standard; the errors of two marks are independent
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
	s.Valid = s.Valid && n.integral && n.apart <= mostApart && n.hole <= mostApart
	s.Coulombs += n.coulombs
	if load {
		s.White += n.noise * n.seconds * n.seconds
	}
}

// marks takes those that came with a summary, in their order, each as of its last scan. Where time ran backwards they begin anew, for what
// flowed since the one before is not known.
func (e *Estimator) marks(summary *plugin.Summary) {
	for _, c := range e.taken {
		e.memory.Marked = e.memory.Marked && !c.now.back
	}
	last := summary.GetLastMonotonicNanos()
	for _, m := range summary.GetMarks() {
		at := mark{last, last - summary.GetFirstMonotonicNanos(), m.GetPassedCoulombs(), m.GetStandardUncertaintyCoulombs()}
		if err := e.mark(at); err != nil {
			e.note("", "mark refused", "%v", err)
		}
	}
}

// mark takes one. Two of them measure what B has gained in between, for each channel
//
//	Q_raw(t₁,t₂) − (X₂ − X₁) = B − M − e₂ + e₁ + n,
//
// with e the marks' errors, which the channels have in common, and n the noise of the readings. Marks that contradict each other
// by the gate teach nothing and make a note; the newer is the one the next is held against. An error leaves everything as it was.
func (e *Estimator) mark(m mark) error {
	if err := e.timely(m); err != nil {
		return err
	}
	f := e.filter
	f.draw(e.markNew, 0, m.uncertainty*m.uncertainty)
	if e.memory.Marked && e.agrees(m) {
		for _, c := range e.channels {
			if c.comparable(m) {
				f.update(e.markForm(c), e.gained(c, m), c.Span.White+c.lag(m))
			}
		}
	}
	for _, c := range e.channels {
		f.clone(c.at.mark, c.at.charge)
		c.Span = span{Valid: c.near(m), White: c.lag(m)}
	}
	f.clone(e.markError, e.markNew)
	f.draw(e.markNew, 0, 0)
	e.memory.Marked, e.memory.MarkNanos, e.memory.MarkCoulombs = true, m.nanos, m.coulombs
	return nil
}

// timely refuses marks that cannot be used.
func (e *Estimator) timely(m mark) error {
	switch {
	case !finite(m.coulombs) || !(m.uncertainty > 0 && finite(m.uncertainty)):
		return fmt.Errorf("a mark of %g C ± %g C: both must be finite, the uncertainty above 0", m.coulombs, m.uncertainty)
	case e.memory.Marked && m.nanos < e.memory.MarkNanos:
		return fmt.Errorf("a mark out of order: %g s before the one before", float64(e.memory.MarkNanos-m.nanos)*1e-9)
	}
	return nil
}

// near tells whether B stands close enough to a mark to be compared with it, as it does where the channel is on the device whose summary the
// mark came with. Others may be as much off as both summaries are long, and a second.
func (c *channel) near(m mark) bool {
	away := m.nanos - c.Last
	return c.Begun && max(away, -away) <= m.within+c.Last-c.First+mostApart*1e9
}

func (c *channel) comparable(m mark) bool { return c.Span.Valid && c.near(m) }

// lag is the variance of the charge between a mark and the end of the channel's newest summary, where B stands.
func (c *channel) lag(m mark) float64 {
	charge := c.Current * float64(m.nanos-c.Last) * 1e-9
	return charge * charge
}

func (e *Estimator) markForm(c *channel) []term {
	e.form = append(e.form[:0], term{c.at.charge, 1}, term{c.at.mark, -1}, term{e.markNew, -1}, term{e.markError, 1})
	return e.form
}

// gained is what two marks say a channel's raw integral is too large by.
func (e *Estimator) gained(c *channel, m mark) float64 {
	return c.Span.Coulombs - (m.coulombs - e.memory.MarkCoulombs)
}

// agrees holds a mark against the one before on every channel.
func (e *Estimator) agrees(m mark) bool {
	for _, c := range e.channels {
		if !c.comparable(m) {
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
