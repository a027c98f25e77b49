package biasfilter

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"github.com/ampledger/ampledger/plugins/plugin"
	pluginv1 "github.com/ampledger/ampledger/proto/ampledger/plugin/v1"
)

// Estimator implements plugin.Estimator.
type Estimator struct {
	settings   settings
	quiescence float64 // amperes
	channels   []*channel
	filter     *filter
	memory     conductorMemory
	notes      []*pluginv1.Note

	residual, standing, markError, markNew, fused int // where ρ, e and B_f stand in the filter

	// Of one summary.
	taken []*channel
	mixed bool // it has a fused current
	form  []term
}

// conductorMemory is what of a conductor outlives a summary, beside the filter's states.
type conductorMemory struct {
	Draw         uint64  `json:"draw"`             // of ρ: the rest it belongs to
	Residual     float64 `json:"residual_amperes"` // u of that rest
	Quiescent    bool    `json:"quiescent"`        // nobody said it was one
	Disagree     bool    `json:"disagree"`         // told that channels disagree
	Marked       bool    `json:"marked"`           // there was a mark
	MarkNanos    int64   `json:"mark_nanos"`
	MarkCoulombs float64 `json:"mark_coulombs"`
}

// New makes an estimator that is not configured yet.
func New() *Estimator { return &Estimator{} }

// Configure implements plugin.Estimator.
func (e *Estimator) Configure(_ context.Context, conductor plugin.Conductor, from plugin.Settings) (method string, err error) {
	e.settings = defaults()
	if err := from.Decode(&e.settings); err != nil {
		return "", err
	}
	if err := e.settings.validate(conductor.Channels); err != nil {
		return "", err
	}
	e.lay(conductor.Channels)
	return fmt.Sprintf("a Kalman filter of %d states over rests, marks and the differences of channels", e.filter.n), nil
}

// lay makes the channels and the filter.
func (e *Estimator) lay(channels []*plugin.Channel) {
	at := 0
	e.channels, e.quiescence = nil, math.Inf(1)
	for _, stated := range channels {
		c := newChannel(stated, e.settings.Channels[stated.GetName()], at)
		e.channels = append(e.channels, c)
		e.quiescence = min(e.quiescence, c.zero)
		at = c.at.end
	}
	e.quiescence = value(e.settings.QuiescenceAmperes, e.quiescence)
	e.residual, e.standing, e.markError, e.markNew, e.fused = at, at+1, at+2, at+3, at+4
	for _, c := range e.channels {
		c.at.fused = e.fused
	}
	e.filter = newFilter(at + 5)
	e.prior()
}

// PlayHalfWidths gives the half-widths, in amperes, of the play operators wanted of each channel that has any; after Configure.
func (e *Estimator) PlayHalfWidths() map[string][]float64 {
	widths := map[string][]float64{}
	for _, c := range e.channels {
		if len(c.plays) > 0 {
			widths[c.name] = slices.Clone(c.plays)
		}
	}
	return widths
}

// Observe implements plugin.Estimator.
func (e *Estimator) Observe(summary *plugin.Summary) ([]*plugin.ChannelEstimate, error) {
	if err := e.update(summary); err != nil {
		return nil, err
	}
	estimates := make([]*plugin.ChannelEstimate, len(e.taken))
	for i, c := range e.taken {
		estimates[i] = e.estimate(c)
	}
	return estimates, nil
}

// update takes a summary into the filter. It allocates nothing unless there is something to note.
func (e *Estimator) update(summary *plugin.Summary) error {
	e.taken = e.taken[:0]
	for _, of := range summary.GetChannels() {
		c := e.channel(of.GetName())
		switch {
		case c == nil:
			return fmt.Errorf("channel %q was not configured", of.GetName())
		case e.isTaken(c):
			return fmt.Errorf("channel %q stands twice in a summary", of.GetName())
		}
		e.taken = append(e.taken, c)
	}
	if err := e.takeFused(summary.GetFused()); err != nil {
		return err
	}
	for i, of := range summary.GetChannels() {
		e.taken[i].take(summary, of)
	}
	believed := false
	if quiescent, rest := e.kind(summary); rest {
		believed = e.repose(quiescent)
	} else {
		e.load()
	}
	e.mixElsewhere()
	e.differ(believed)
	for _, c := range e.taken {
		c.notice(e.filter)
	}
	e.marks(summary)
	return nil
}

func (e *Estimator) channel(name string) *channel {
	for _, c := range e.channels {
		if c.name == name {
			return c
		}
	}
	return nil
}

func (e *Estimator) load() {
	for _, c := range e.taken {
		c.Resting.end()
		c.load(e.filter)
		c.leaveUnchecked()
	}
}

// estimate states what is known of a channel.
func (e *Estimator) estimate(c *channel) *plugin.ChannelEstimate {
	f := e.filter
	offset, variance := f.value(c.offset)
	return &plugin.ChannelEstimate{
		Name: c.name, OffsetAmperes: offset, StandardUncertaintyAmperes: math.Sqrt(variance + c.unseen(f)),
		WalkAmperesPerRootSecond: math.Sqrt(c.density), CorrectionKnown: true, CorrectionCoulombs: f.x[c.at.charge],
		CorrectionUncertaintyCoulombs: math.Sqrt(f.p[c.at.charge*f.n+c.at.charge]),
	}
}

// Age lets the zeros walk over a time in which nothing was read, such as one the daemon was down for. It ends rests and spans between marks, and
// the next summary's monotonic time is not compared with that of the one before.
func (e *Estimator) Age(by time.Duration) {
	for _, c := range e.channels {
		if seconds := by.Seconds(); seconds > 0 {
			e.filter.walk(c.at.zero, c.density, seconds)
			c.memory.Age += seconds
		}
		c.Begun, c.Span.Valid = false, false
		c.Resting.end()
	}
	e.clearWindows()
	e.memory.Marked = false
}
