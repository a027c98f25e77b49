package iio

import (
	"context"
	"errors"
	"time"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// poll reads the attributes at the rate of the plan.
func (d *Driver) poll(ctx context.Context, emit func(*plugin.Frame) error) error {
	probes, err := openProbes(d.plan)
	defer func() { closeProbes(probes) }()
	if err != nil {
		return err
	}
	p := newPoller(d, probes, emit)
	if p.begun, err = d.now(); err != nil {
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

// poller takes scans at whole multiples of an interval after its start. The number of the multiple is the sequence, so polls that were
// missed are a jump, whatever made the process miss them: the reading itself, a busy machine, or one that slept.
type poller struct {
	driver *Driver
	probes []probe
	emit   func(*plugin.Frame) error

	begun    int64 // ns
	interval float64
	next     uint64 // the sequence that is due next
	most     int    // scans in a frame
	frame    plugin.Frame
}

func newPoller(d *Driver, probes []probe, emit func(*plugin.Frame) error) *poller {
	// No scan is held back for more than 100 ms.
	p := &poller{driver: d, probes: probes, emit: emit, interval: 1e9 / d.plan.rateHertz, most: max(1, int(d.plan.rateHertz/10))}
	for range probes {
		p.frame.Columns = append(p.frame.Columns, &plugin.Column{})
	}
	return p
}

// step takes the scan that is due and tells how long to wait for the next.
func (p *poller) step() (wait time.Duration, err error) {
	before, err := p.driver.now()
	if err != nil {
		return 0, err
	}
	if at := p.begun + p.due(p.next); before < at {
		return time.Duration(at - before), nil // the timer's clock is not ours to the nanosecond
	}
	sequence := max(p.next, uint64(float64(before-p.begun)/p.interval))
	if sequence != p.next {
		if err := p.flush(); err != nil {
			return 0, err
		}
	}
	after, err := p.take(sequence, before)
	if err != nil {
		return 0, errors.Join(err, p.flush())
	}
	p.next = sequence + 1
	if int(p.frame.ScanCount) == p.most {
		if err := p.flush(); err != nil {
			return 0, err
		}
	}
	return time.Duration(p.begun + p.due(p.next) - after), nil
}

// due gives when a scan is due, in ns after the start.
func (p *poller) due(sequence uint64) int64 { return int64(float64(sequence) * p.interval) }

// take reads all inputs once. The scan's time is the middle of the reading.
func (p *poller) take(sequence uint64, before int64) (after int64, err error) {
	scan := int(p.frame.ScanCount)
	for i := range p.probes {
		if err := p.probes[i].take(p.frame.Columns[i], scan, p.driver.log); err != nil {
			p.cut(scan)
			return 0, err
		}
	}
	if after, err = p.driver.now(); err != nil {
		p.cut(scan)
		return 0, err
	}
	at := before + (after-before)/2
	if scan == 0 {
		p.frame.FirstSequence, p.frame.FirstMonotonicNanos = sequence, at
		p.frame.FirstWallNanos = time.Now().UnixNano() - (after - at)
	}
	p.frame.OffsetNanos = append(p.frame.OffsetNanos, at-p.frame.FirstMonotonicNanos)
	p.frame.ScanCount++
	return after, nil
}

// flush hands the scans on, if there are any.
func (p *poller) flush() error {
	if p.frame.ScanCount == 0 {
		return nil
	}
	err := p.emit(&p.frame)
	p.frame.ScanCount, p.frame.OffsetNanos = 0, p.frame.OffsetNanos[:0]
	p.cut(0)
	return err
}

// cut leaves the columns with the values of a number of scans.
func (p *poller) cut(scans int) {
	for _, c := range p.frame.Columns {
		c.Codes, c.Values = c.Codes[:min(scans, len(c.Codes))], c.Values[:min(scans, len(c.Values))]
		for n := len(c.AbsentIndices); n > 0 && int(c.AbsentIndices[n-1]) >= scans; n-- {
			c.AbsentIndices = c.AbsentIndices[:n-1]
		}
	}
}
