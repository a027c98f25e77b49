package biasfilter

import (
	"fmt"
	"math"

	pluginv1 "github.com/ampledger/ampledger/proto/ampledger/plugin/v1"
)

// Notes gives what there was to say since the last call, oldest first, and forgets it.
func (e *Estimator) Notes() []*pluginv1.Note {
	notes := e.notes
	e.notes = nil
	return notes
}

func (e *Estimator) note(channel, subject, format string, figures ...any) {
	e.notes = append(e.notes, &pluginv1.Note{Channel: channel, Subject: subject, Text: fmt.Sprintf(format, figures...)})
}

func (e *Estimator) noteRejected(c *channel) {
	innovation, variance := e.expected(c)
	sigma := math.Sqrt(variance)
	e.note(c.name, "rest rejected", "a rest reads %.4g A where %.4g A ± %.2g A (σ) would be the offset, %.1f σ off: taken as load",
		c.now.mean, c.now.mean-innovation, sigma, math.Abs(innovation)/sigma)
}

func (e *Estimator) noteReopened(c *channel, jump float64) {
	e.note(c.name, "prior re-opened", "a rest reads %.4g A, %.4g A off what was known and within what was stated beforehand, for %.0f s: "+
		"the zero has jumped, what was learnt of it is dropped", c.now.mean, jump, c.Resting.Seconds+c.now.seconds)
}

func (e *Estimator) noteDisagree(a, b *channel, difference, expected, sigma float64) {
	if e.memory.Disagree {
		return
	}
	e.memory.Disagree = true
	e.note("", "channels disagree", "%s reads %.4g A more than %s where %.4g A ± %.2g A (σ) is expected: nothing is learnt from it",
		a.name, difference, b.name, expected, sigma)
}
