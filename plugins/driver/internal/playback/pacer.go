package playback

import (
	"context"
	"math"
	"time"
)

// Pacer follows one stream.
type Pacer struct {
	plan      Plan
	begun     time.Time // when the first scan was due
	wallShift int64     // wall-clock time less the source's, ns
	newest    int64
	elapsed   int64
}

// Start begins a stream whose first scan has the given time. That scan is due at once.
func (p Plan) Start(first int64) *Pacer {
	pacer := &Pacer{plan: p, begun: time.Now(), newest: first}
	switch {
	case !p.wallStart.IsZero():
		pacer.wallShift = p.wallStart.UnixNano() - first
	case p.Speed > 0:
		pacer.wallShift = pacer.begun.UnixNano() - first
	}
	// Otherwise the wall-clock time is the source's counted from 1970: as fast as possible is for results that repeat to the last bit.
	return pacer
}

// Advance takes the time of the next scan and gives the time that went by since the first one. Only steps forward count, so a
// source whose clock is set back goes on at its pace instead of rushing until it has caught up.
func (p *Pacer) Advance(to int64) (elapsed int64) {
	if step := to - p.newest; step > 0 {
		if p.elapsed > math.MaxInt64-step {
			p.elapsed = math.MaxInt64 - step
		}
		p.elapsed += step
	}
	p.newest = to
	return p.elapsed
}

// Wall labels a time of the source with wall-clock time in ns since 1970.
func (p *Pacer) Wall(at int64) int64 { return at + p.wallShift }

// Wait blocks until a scan that many ns after the first one is due. It gives the cause if the context ends.
func (p *Pacer) Wait(ctx context.Context, elapsed int64) error {
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	if p.plan.Speed == 0 {
		return nil
	}
	delay := time.Duration(nanos(float64(elapsed)/p.plan.Speed)) - time.Since(p.begun)
	if delay <= 0 {
		return nil
	}
	timer := time.NewTimer(delay)
	defer timer.Stop()
	select {
	case <-timer.C:
		return nil
	case <-ctx.Done():
		return context.Cause(ctx)
	}
}
