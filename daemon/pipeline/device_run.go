package pipeline

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"go.uber.org/zap"
)

// Run reads the device until ctx ends or a finite source comes to its end. A driver that fails is started again after a pause that grows
// until it works for longer than was waited; what was missed is a gap. It is never given up as an estimator is: without readings there is
// nothing to protect from it, and a device that was unplugged for a night is to be read in the morning. opened is called once, after the first attempt to open the device, whatever came of it; frames wait for it to
// return. Run returns with the driver ended.
func (d *Device) Run(ctx context.Context, opened func()) error {
	first := d.Open(ctx)
	opened()
	var watching sync.WaitGroup
	watched, stop := context.WithCancel(ctx)
	d.heard.Store(int64(time.Since(d.start)))
	if !d.config.Lockstep {
		watching.Go(func() { d.watch(watched) })
		watching.Go(func() { d.checkSilent(watched) })
	}
	defer func() {
		stop()
		watching.Wait()
		d.Close()
	}()
	d.keep(ctx, first)
	return nil
}

// keep delivers frames, and opens the device again whenever it failed; err is what came of opening it first.
func (d *Device) keep(ctx context.Context, err error) {
	var raised []*fault
	var paces pacing
	for ctx.Err() == nil {
		worked := time.Duration(0)
		if err == nil {
			var began time.Time
			err = d.deliverAll(ctx, func() {
				d.recovered(raised)
				raised, began = nil, time.Now()
			})
			if !began.IsZero() {
				worked = time.Since(began)
			}
		}
		if ctx.Err() != nil {
			return
		}
		over := isEnd(err) || d.finite
		if isEnd(err) {
			d.config.Log.Info("the source has come to its end", zap.Uint64("next_sequence", d.next))
		} else {
			raised = d.failed(raised, d.final(over, err))
		}
		if over {
			d.End(ctx)
			return
		}
		if errors.Is(err, ErrInterrupted) {
			err = nil // the stream is the same still
			continue
		}
		d.Close()
		if pause(ctx, paces.after(worked)) {
			err = d.Open(ctx)
		}
	}
}

// final adds to the failure of a finite source that it is not started again: it would count the same charge twice.
func (d *Device) final(over bool, err error) error {
	if !over {
		return err
	}
	return fmt.Errorf("%w; a source that ends by itself is not started again", err)
}

// deliverAll delivers frames until something ends them. recovered is called at the first.
func (d *Device) deliverAll(ctx context.Context, recovered func()) error {
	for first := true; ; first = false {
		f, err := d.Next(ctx)
		if err != nil {
			return err
		}
		if first {
			recovered()
		}
		d.heard.Store(int64(time.Since(d.start)))
		d.Deliver(ctx, f)
	}
}

// failed makes an event of a failure, unless one is raised already.
func (d *Device) failed(raised []*fault, err error) []*fault {
	d.faulty(err)
	d.config.Log.Error("device failed", zap.Error(err))
	if len(raised) > 0 {
		return raised
	}
	for _, c := range d.conductors {
		c.mu.Lock()
		raised = append(raised, c.events.fault("device", d.config.Name, d.next, time.Now().UnixNano(), err.Error()))
		c.mu.Unlock()
	}
	return raised
}

// recovered clears the events of a failure.
func (d *Device) recovered(raised []*fault) {
	d.state.Store(nil)
	for i, c := range d.conductors {
		if i < len(raised) {
			c.mu.Lock()
			raised[i].clear(d.next, time.Now().UnixNano())
			c.mu.Unlock()
		}
	}
}

// watchEvery is how often a silence is looked for.
const watchEvery = 250 * time.Millisecond

// watch tells the conductors of a silence of the device; their guards know how long is too long.
func (d *Device) watch(ctx context.Context) {
	ticker := time.NewTicker(watchEvery)
	defer ticker.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case now := <-ticker.C:
			if silence := d.silence(); silence > watchEvery {
				for _, c := range d.conductors {
					c.Silent(d.config.Name, now.UnixNano(), silence.Nanoseconds())
				}
			}
		}
	}
}

// checkAfter is how long a device may be silent before its driver is asked whether it hangs; from then on it is asked every checkEvery.
const (
	checkAfter = 30 * time.Second
	checkEvery = 10 * time.Second
)

// checkSilent has a driver that hangs killed, so that it is started again; a device that is silent with good reason is left alone.
func (d *Device) checkSilent(ctx context.Context) {
	d.whileSilent(ctx, func() {
		if driver := d.living.Load(); driver != nil {
			driver.Check(ctx)
		}
	})
}

// whileSilent calls check again and again while nothing is heard of the device.
func (d *Device) whileSilent(ctx context.Context, check func()) {
	ticker := time.NewTicker(checkEvery)
	defer ticker.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-ticker.C:
			if d.silence() >= checkAfter {
				check()
			}
		}
	}
}

// silence is how long ago the newest frame came.
func (d *Device) silence() time.Duration { return time.Since(d.start) - time.Duration(d.heard.Load()) }
