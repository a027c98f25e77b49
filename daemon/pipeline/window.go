package pipeline

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/ampledger/ampledger/daemon/metrology/spread"
	"github.com/ampledger/ampledger/daemon/metrology/zero"
	"github.com/ampledger/ampledger/daemon/scan"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// Window is a time that an operator declares to be without current.
type Window struct {
	Nanos int64  // from the next scan on, by each device's own clock, > 0
	By    string // who says so
	Note  string // and why
}

// The reasons why a window taught nothing.
var (
	ErrWindowBusy  = errors.New("a window without current is open on this conductor already")
	ErrWindowEmpty = errors.New("no whole summary lay in the window, so nothing was learnt: declare a longer one")

	ErrWindowSilent = errors.New("no device of this conductor gave a reading in the window")
)

// Captured is what was read in a window.
type Captured struct {
	From, To int64 // wall-clock time of its first and last scan that counted
	Zeros    []Zero
	Notes    []string // of the estimator
}

// Zero is what a channel read while no current flowed.
type Zero struct {
	Lane          *Lane
	Readings      uint64 // usable
	Mean          float64
	Uncertainty   float64 // of the mean, standard, from the scatter of the summaries' means; 0 if there are fewer than two
	Celsius       float64
	CelsiusKnown  bool
	Before, After Offset

	Found  *zero.Zero // what its readings at full rate say; nil = NoFind says why they say nothing
	NoFind error
	Block  int    // readings that each value of Found is the mean of
	Record uint64 // of the correction in force

	means    spread.Spread
	warmth   spread.Spread
	readings restReadings
}

// Offset is an offset in force with its standard uncertainty, in amperes.
type Offset struct{ Amperes, Uncertainty float64 }

// declaration is a window at work. The conductor's lock guards it.
type declaration struct {
	Window
	timespan
	zeros    map[*Lane]*Zero
	captured Captured
	newest   uint64 // number of its newest summary
	hearing  *hearing
}

// Declare says that no current flows from now on for a time. Summaries that lie wholly in it are rests for the estimator. It returns when
// the time is over on every device and the estimator has answered; if ctx ends before, so does the window.
func (c *Conductor) Declare(ctx context.Context, w Window) (*Captured, error) {
	d, err := c.declare(w)
	if err != nil {
		return nil, err
	}
	// A device that is silent, or whose clock is slow, must not leave a declaration behind that nobody thinks of any more.
	late := time.NewTimer(time.Duration(w.Nanos) + windowMargin)
	defer late.Stop()
	select {
	case <-d.over:
	case <-late.C:
	case <-ctx.Done():
	}
	silent := c.withdraw(d)
	switch err := context.Cause(ctx); {
	case silent:
		return nil, ErrWindowSilent
	case err != nil:
		return nil, err
	}
	return c.conclude(ctx, d)
}

// windowMargin is how much longer than its time a window stays open by the host's clock.
const windowMargin = 5 * time.Second

func (c *Conductor) declare(w Window) (*declaration, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.declared != nil {
		return nil, ErrWindowBusy
	}
	c.declared = &declaration{Window: w, timespan: newTimespan(w.Nanos), zeros: map[*Lane]*Zero{}, hearing: newHearing()}
	c.events.operator("zero declared", c.now(),
		fmt.Sprintf("no current for %.3g s, says %s: %s", float64(w.Nanos)*1e-9, orNobody(w.By), w.Note))
	for _, s := range c.sides {
		if s.ended {
			c.declared.end(s, c.devices())
		}
	}
	return c.declared, nil
}

// now is the time of the newest summary, or the host's before there is one.
func (c *Conductor) now() *scan.Clock {
	if c.estimation.number == 0 {
		return &scan.Clock{Wall: time.Now().UnixNano()}
	}
	return &c.estimation.newest
}

func orNobody(by string) string {
	if by == "" {
		return "somebody"
	}
	return by
}

// withdraw ends the window and tells whether not one scan came in it.
func (c *Conductor) withdraw(d *declaration) (silent bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.declared == d {
		c.declared = nil
	}
	return !d.seen
}

// conclude waits for the estimator and gives what was read.
func (c *Conductor) conclude(ctx context.Context, d *declaration) (*Captured, error) {
	if len(d.zeros) == 0 {
		return nil, ErrWindowEmpty
	}
	notes := []string{"no estimator works on this conductor: nothing follows from the zero"}
	if c.estimates() {
		d.hearing.until(d.newest)
		var err error
		if notes, err = d.hearing.wait(ctx); err != nil {
			return nil, err
		}
	}
	d.captured.Notes = notes
	for _, lane := range c.lanes {
		if zero := d.zeros[lane]; zero != nil {
			zero.Mean, zero.Uncertainty = zero.means.Mean, zero.means.Uncertainty()
			zero.Celsius, zero.CelsiusKnown = zero.warmth.Mean, zero.warmth.Count > 0
			zero.After = c.believedOffset(lane)
			zero.Block = zero.readings.size
			zero.Found, zero.NoFind = findZero(&zero.readings)
			d.captured.Zeros = append(d.captured.Zeros, *zero)
		}
	}
	return &d.captured, nil
}

// findZero looks at the readings of a rest.
func findZero(r *restReadings) (*zero.Zero, error) {
	found, err := zero.Find(&r.log)
	if err != nil {
		return nil, fmt.Errorf("nothing can be told of its readings: %w", err)
	}
	return found, nil
}

// estimates tells whether an estimator is at work.
func (c *Conductor) estimates() bool {
	status, has := c.Estimator()
	return has && status.Fault == nil
}

// believedOffset is the newest word on a channel's offset, in force or about to be.
func (c *Conductor) believedOffset(lane *Lane) Offset {
	c.mu.Lock()
	defer c.mu.Unlock()
	if r := c.estimation.current; r != nil {
		if newest, has := r.of(lane); has {
			return Offset{newest.Amperes, newest.Uncertainty}
		}
	}
	return Offset{lane.readings.Offset, lane.readings.ZeroAmperes}
}

// covers gives how many of a span's first scans lie in the window, and notes when it is over.
func (d *declaration) covers(s *side, span *scan.Frame, sides int) (scans int) {
	if d == nil {
		return 0
	}
	return d.timespan.covers(s, span, sides)
}

// end ends the window on one device.
func (d *declaration) end(s *side, sides int) {
	if d != nil {
		d.timespan.end(s, sides)
	}
}

// gather takes a summary that was a rest throughout; number is what it will be counted as.
func (d *declaration) gather(next *item, number uint64, first scan.Clock, rest *restTally) {
	if d == nil || d.isOver && rest.declared == 0 || rest.closed+rest.unknown > 0 || len(next.stands) == 0 {
		return
	}
	d.newest = number
	if d.captured.From == 0 {
		d.captured.From = first.Wall
	}
	d.captured.To = next.made.Wall
	next.hearings = append(next.hearings, d.hearing)
	for i, of := range next.summary.GetChannels() {
		zero := d.zero(next.stands[i].lane)
		zero.add(of)
		if next.full != nil {
			zero.readings.add(first.Monotonic, next.full.offsets, next.full.amperes[zero.Lane])
		}
	}
}

func (d *declaration) zero(lane *Lane) *Zero {
	zero := d.zeros[lane]
	if zero == nil {
		zero = &Zero{Lane: lane, Record: lane.correction.Record, Before: Offset{lane.readings.Offset, lane.readings.ZeroAmperes}}
		d.zeros[lane] = zero
	}
	return zero
}

func (z *Zero) add(of *plugin.ChannelSummary) {
	if of.GetReadingCount() == 0 {
		return
	}
	z.Readings += uint64(of.GetReadingCount())
	z.means.Add(of.GetMeanAmperes())
	if of.GetTemperatureKnown() {
		z.warmth.Add(of.GetTemperatureCelsius())
	}
}
