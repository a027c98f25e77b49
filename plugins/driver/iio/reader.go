package iio

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// patience is how long scans below the watermark may wait in the kernel, and an ended context for the reader.
const patience = 100 * time.Millisecond

// source is a device file that gives an error instead of waiting beyond a deadline.
type source interface {
	io.Reader
	SetReadDeadline(time.Time) error
}

// reader turns the bytes of a device file into frames. All memory is made at the start.
type reader struct {
	plan *plan
	from source
	now  func() (int64, error)
	emit func(*plugin.Frame) error

	timeline timeline
	bytes    []byte // room for two buffers of the kernel's, so that a full one is read whole
	held     int    // bytes of it that were read and not sent
	full     bool   // a reading brought all that the kernel's buffer holds
	times    []int64
	raw      []int64
	frame    plugin.Frame
}

func newReader(d *Driver, from source, emit func(*plugin.Frame) error) *reader {
	b := d.plan.buffer
	most := 2 * b.scans
	r := &reader{plan: d.plan, from: from, now: d.now, emit: emit, bytes: make([]byte, most*b.scanBytes)}
	r.timeline = timeline{interval: 1e9 / d.plan.rateHertz, stamped: b.stamp >= 0}
	r.times, r.raw = make([]int64, most), make([]int64, most)
	r.frame.OffsetNanos = make([]int64, 0, most)
	for _, in := range d.plan.inputs {
		column := &plugin.Column{}
		if in.code {
			column.Codes = make([]int32, 0, most)
		} else {
			column.Values = make([]float64, 0, most)
		}
		r.frame.Columns = append(r.frame.Columns, column)
	}
	return r
}

// run reads until the context ends, emit fails or the device does.
func (r *reader) run(ctx context.Context) error {
	size := r.plan.buffer.scanBytes
	for {
		if err := r.fill(ctx); err != nil {
			return err
		}
		scans := r.held / size
		if err := r.send(r.bytes[:scans*size], scans); err != nil {
			return err
		}
		r.held = copy(r.bytes, r.bytes[scans*size:r.held]) // a part of a scan, if the file gave one
	}
}

// fill reads until there are as many scans as are worth waking up for, or there is one and patience has run out. A reading without a wait
// takes what there is, so small ones are put together here.
func (r *reader) fill(ctx context.Context) error {
	b := r.plan.buffer
	for r.full = false; r.held < b.scanBytes; {
		if ctx.Err() != nil {
			return context.Cause(ctx)
		}
		if err := r.from.SetReadDeadline(time.Now().Add(patience)); err != nil {
			return fmt.Errorf("%s: this is no device file: %w", b.file, err)
		}
		if err := r.gather(b.watermark * b.scanBytes); err != nil {
			return err
		}
	}
	return nil
}

// gather reads until it has a number of bytes or the deadline comes. An error waits until the scans before it have gone out.
func (r *reader) gather(want int) error {
	b := r.plan.buffer
	for r.held < want {
		n, err := r.from.Read(r.bytes[r.held:])
		r.held += n
		r.full = r.full || n >= b.scans*b.scanBytes
		switch {
		case n > 0:
		case errors.Is(err, os.ErrDeadlineExceeded) || r.held >= b.scanBytes:
			return nil
		case err == nil || errors.Is(err, io.EOF):
			return fmt.Errorf("%s: the device gives no more, see whether it is connected and its buffer enabled (%d bytes of a scan had come)", b.file, r.held)
		default:
			return explain(err)
		}
	}
	return nil
}

// send gives the scans of one reading their times and hands them on, in a frame for each stretch in which none was lost.
func (r *reader) send(block []byte, scans int) error {
	b := r.plan.buffer
	times, behind := r.times[:scans], uint64(0)
	if b.stamp >= 0 {
		b.fields[b.stamp].Int64s(times, block, b.scanBytes)
		if err := r.checkClock(times[0]); err != nil {
			return err
		}
	} else {
		now, err := r.now()
		if err != nil {
			return err
		}
		behind = r.timeline.spread(times, now, r.full)
	}
	wall := time.Now().UnixNano() - times[scans-1] // a label: the newest scan came just now
	for len(times) > 0 {
		first, n := r.timeline.run(times)
		if err := r.emit(r.fillFrame(first, block, times[:n], wall)); err != nil {
			return err
		}
		block, times = block[n*b.scanBytes:], times[n:]
	}
	r.timeline.sequence += behind
	return nil
}

// mostAstray is how far the first time stamp may be from the clock it is said to be of: longer than a scan waits in the kernel, far shorter than
// clocks that count from different beginnings are apart. Common practice, no source.
const mostAstray = 30 * time.Second

// checkClock refuses a first time stamp of another clock than the attribute says: some devices stamp by one of their own.
func (r *reader) checkClock(first int64) error {
	if r.timeline.begun || r.plan.buffer.clock != "boottime" {
		return nil
	}
	now, err := r.now()
	if err != nil {
		return err
	}
	if astray := time.Duration(first - now); astray.Abs() > mostAstray {
		return fault("clock", fmt.Errorf("the first time stamp is %v from boottime, so the device stamps by another clock than %s says; give clock: read", astray, clockAttribute))
	}
	return nil
}

// fillFrame decodes scans.
func (r *reader) fillFrame(first uint64, block []byte, times []int64, wall int64) *plugin.Frame {
	b, f, scans := r.plan.buffer, &r.frame, len(times)
	f.FirstSequence, f.FirstMonotonicNanos, f.FirstWallNanos, f.ScanCount = first, times[0], times[0]+wall, uint32(scans)
	f.OffsetNanos = f.OffsetNanos[:scans]
	for i, at := range times {
		f.OffsetNanos[i] = at - times[0]
	}
	for i := range r.plan.inputs {
		in, column := &r.plan.inputs[i], f.Columns[i]
		field := &b.fields[in.at]
		if in.code {
			column.Codes = column.Codes[:scans]
			field.Codes(column.Codes, block, b.scanBytes, in.less)
			continue
		}
		field.Int64s(r.raw[:scans], block, b.scanBytes)
		column.Values = column.Values[:scans]
		for k, raw := range r.raw[:scans] {
			column.Values[k] = in.channel.value(float64(raw))
		}
	}
	return f
}
