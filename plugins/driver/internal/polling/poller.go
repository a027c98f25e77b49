package polling

import (
	"context"
	"errors"
	"math"
	"time"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// Source is what is polled.
type Source interface {
	// Take reads all inputs once and appends the values to their columns, as those of a scan of the frame. It gives the span of time in which
	// it read them; false = there is nothing to be had now. After that, or an error, it may leave values behind.
	Take(columns []*plugin.Column, scan int) (read Span, taken bool, err error)
}

// Span is a span of time, ns.
type Span struct{ From, To int64 }

// uncertainty is the standard uncertainty of a time of which nothing is known but that it lies in the span (GUM 4.3.7).
func (s Span) uncertainty() int64 { return int64(math.Ceil(float64(s.To-s.From) / math.Sqrt(12))) }

// Poller takes scans at whole multiples of an interval after its start. The number of the multiple is the sequence, so polls that were
// missed are a jump, whatever made the process miss them: the reading itself, a device that gave nothing, a busy machine, or one that slept.
type Poller struct {
	now    func() (int64, error)
	source Source
	emit   func(*plugin.Frame) error

	begun    int64 // ns
	interval float64
	next     uint64 // the sequence that is due next
	most     int    // scans in a frame
	frame    plugin.Frame
}

// New makes a poller of a source with so many inputs, at a rate above 0. now is the clock (boottime.Nanos). No scan is held back for more than
// 100 ms before its frame is emitted.
func New(source Source, inputs int, rateHertz float64, now func() (int64, error), emit func(*plugin.Frame) error) *Poller {
	p := &Poller{now: now, source: source, emit: emit, interval: 1e9 / rateHertz, most: max(1, int(rateHertz/10))}
	for range inputs {
		p.frame.Columns = append(p.frame.Columns, &plugin.Column{})
	}
	return p
}

// Run polls until the context ends, the source or the clock fails, or emit does. The scans before a fault of the source have been emitted.
func (p *Poller) Run(ctx context.Context) (err error) {
	if p.begun, err = p.now(); err != nil {
		return err
	}
	timer := time.NewTimer(0)
	defer timer.Stop()
	for {
		select {
		case <-ctx.Done():
			return context.Cause(ctx)
		case <-timer.C:
		}
		wait, err := p.step()
		if err != nil {
			return err
		}
		timer.Reset(wait)
	}
}

// step takes the scan that is due and tells how long to wait for the next.
func (p *Poller) step() (wait time.Duration, err error) {
	now, err := p.now()
	if err != nil {
		return 0, err
	}
	if at := p.begun + p.due(p.next); now < at {
		return time.Duration(at - now), nil // the timer's clock is not ours to the nanosecond
	}
	sequence := max(p.next, uint64(float64(now-p.begun)/p.interval))
	if sequence != p.next {
		if err := p.flush(); err != nil {
			return 0, err
		}
	}
	p.next = sequence + 1
	if err := p.take(sequence); err != nil {
		return 0, err
	}
	if now, err = p.now(); err != nil {
		return 0, err
	}
	return time.Duration(p.begun + p.due(p.next) - now), nil
}

// due gives when a scan is due, in ns after the start.
func (p *Poller) due(sequence uint64) int64 { return int64(float64(sequence) * p.interval) }

// take reads the scan of a sequence into the frame, and emits the frame once it is full or the scan is missing.
func (p *Poller) take(sequence uint64) error {
	scan := int(p.frame.ScanCount)
	read, taken, err := p.source.Take(p.frame.Columns, scan)
	if err != nil || !taken {
		p.cut(scan)
		return errors.Join(err, p.flush())
	}
	p.stamp(sequence, read)
	if int(p.frame.ScanCount) == p.most {
		return p.flush()
	}
	return nil
}

// stamp gives the newest scan its time.
func (p *Poller) stamp(sequence uint64, read Span) {
	at := read.From + (read.To-read.From)/2
	if p.frame.ScanCount == 0 {
		p.frame.FirstSequence, p.frame.FirstMonotonicNanos = sequence, at
		p.frame.FirstWallNanos = time.Now().UnixNano() - (read.To - at)
	}
	p.frame.OffsetNanos = append(p.frame.OffsetNanos, at-p.frame.FirstMonotonicNanos)
	p.frame.TimeUncertaintyNanos = max(p.frame.TimeUncertaintyNanos, read.uncertainty())
	p.frame.ScanCount++
}

// flush hands the scans on, if there are any.
func (p *Poller) flush() error {
	if p.frame.ScanCount == 0 {
		return nil
	}
	err := p.emit(&p.frame)
	p.frame.ScanCount, p.frame.OffsetNanos, p.frame.TimeUncertaintyNanos = 0, p.frame.OffsetNanos[:0], 0
	p.cut(0)
	return err
}

// cut leaves the columns with the values of a number of scans.
func (p *Poller) cut(scans int) {
	for _, c := range p.frame.Columns {
		c.Codes, c.Values = c.Codes[:min(scans, len(c.Codes))], c.Values[:min(scans, len(c.Values))]
		for n := len(c.AbsentIndices); n > 0 && int(c.AbsentIndices[n-1]) >= scans; n-- {
			c.AbsentIndices = c.AbsentIndices[:n-1]
		}
	}
}
