package pipeline

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/ampledger/ampledger/daemon/metrology/spread"
	"github.com/ampledger/ampledger/daemon/metrology/zero"
	"github.com/ampledger/ampledger/daemon/scan"
)

// The reasons why nothing was measured.
var (
	ErrMeasureBusy   = errors.New("another measurement of this conductor is going on")
	ErrMeasureFew    = errors.New("too few usable readings")
	ErrMeasureSilent = errors.New("no device of this conductor gave a reading meanwhile")
)

// Measured is the mean of a channel over a time in which the current should stand still.
type Measured struct {
	Lane     *Lane
	From, To int64 // wall-clock time of the first and last scan that counted
	*zero.Zero
	Celsius      float64
	CelsiusKnown bool
	ZeroAmperes  float64 // standard uncertainty of the zero in force, as stated
	GainRatio    float64 // and of the gain
}

// measurement is a Measure at work. The conductor's lock guards it.
type measurement struct {
	timespan
	measured []*Measured
	readings []*restReadings
	warmth   []*spread.Spread
}

// Measure takes the mean of channels over the next nanos, at full rate, statically compensated and before any estimated offset, of the summaries that lie
// wholly in that time. It returns when the time is over on every device. An error tells that nothing came of it, and why.
func (c *Conductor) Measure(ctx context.Context, channels []string, nanos int64) ([]*Measured, error) {
	m, err := c.beginMeasure(channels, nanos)
	if err != nil {
		return nil, err
	}
	late := time.NewTimer(time.Duration(nanos) + windowMargin)
	defer late.Stop()
	select {
	case <-m.over:
	case <-late.C:
	case <-ctx.Done():
	}
	c.mu.Lock()
	c.measured = nil
	seen := m.seen
	c.mu.Unlock()
	switch {
	case ctx.Err() != nil:
		return nil, context.Cause(ctx)
	case !seen:
		return nil, ErrMeasureSilent
	}
	return m.conclude()
}

func (c *Conductor) beginMeasure(channels []string, nanos int64) (*measurement, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.measured != nil {
		return nil, ErrMeasureBusy
	}
	m := &measurement{timespan: newTimespan(nanos)}
	for _, name := range channels {
		i := slices.IndexFunc(c.measuring(), func(l *Lane) bool { return l.Name == name })
		if i < 0 {
			return nil, fmt.Errorf("%w: %s", ErrChannelUnknown, name)
		}
		m.measured = append(m.measured, &Measured{Lane: c.lanes[i]})
		m.readings, m.warmth = append(m.readings, &restReadings{}), append(m.warmth, &spread.Spread{})
	}
	c.measured = m
	for _, s := range c.sides {
		if s.ended {
			m.end(s, c.devices())
		}
	}
	return m, nil
}

// conclude makes the means.
func (m *measurement) conclude() ([]*Measured, error) {
	for i, of := range m.measured {
		found, err := zero.Find(&m.readings[i].log)
		if err != nil {
			return nil, fmt.Errorf("%w: channel %s: %w: measure for longer, beyond a summary at least", ErrMeasureFew, of.Lane.Name, err)
		}
		of.Zero = found
		of.Celsius, of.CelsiusKnown = m.warmth[i].Mean, m.warmth[i].Count > 0
	}
	return m.measured, nil
}

// gather takes a summary that lies wholly in the time.
func (m *measurement) gather(s *side, next *item) {
	if m == nil || next.full == nil || s.open.measured < s.open.scans {
		return
	}
	for i, of := range m.measured {
		at := slices.Index(s.lanes, of.Lane)
		if at < 0 {
			continue
		}
		if of.From == 0 {
			of.From = s.open.first.Wall
		}
		of.To = s.open.last.Wall
		of.ZeroAmperes, of.GainRatio = of.Lane.stated()
		m.readings[i].add(s.open.first.Monotonic, next.full.offsets, next.full.amperes[of.Lane])
		if summary := next.summary.GetChannels()[at]; summary.GetTemperatureKnown() {
			m.warmth[i].Add(summary.GetTemperatureCelsius())
		}
	}
}

// covers notes how many of a span's scans lie in the time.
func (m *measurement) covers(s *side, span *scan.Frame, sides int) int {
	if m == nil {
		return 0
	}
	return m.timespan.covers(s, span, sides)
}

// stated gives the standard uncertainties that the sensor states of its zero and its gain.
func (l *Lane) stated() (zeroAmperes, gainRatio float64) {
	_, zeroAmperes, gainRatio = l.sensor.StaticUncertainty()
	return zeroAmperes, gainRatio
}

// end ends the time on one device.
func (m *measurement) end(s *side, sides int) {
	if m != nil {
		m.timespan.end(s, sides)
	}
}
