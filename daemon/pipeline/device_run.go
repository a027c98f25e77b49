package pipeline

import (
	"context"
	"sync"
	"time"

	"go.uber.org/zap"
)

// Run reads the device until ctx ends or a finite source comes to its end. A driver that fails is started again after a pause that grows;
// what was missed is a gap. It opens the device if that was not done. It returns with the driver ended.
func (d *Device) Run(ctx context.Context) error {
	var watching sync.WaitGroup
	watched, stop := context.WithCancel(ctx)
	d.heard.Store(int64(time.Since(d.start)))
	watching.Go(func() { d.watch(watched) })
	defer func() {
		stop()
		watching.Wait()
		d.Close()
	}()
	var faults []*fault
	for attempt := 0; ; attempt++ {
		frames, err := d.session(ctx, func() {
			d.recovered(faults)
			faults = nil
		})
		ended := isEnd(err) || d.finite()
		switch {
		case ctx.Err() != nil:
			return nil
		case isEnd(err):
			d.config.Log.Info("the source has come to its end", zap.Uint64("next_sequence", d.next))
			d.End(ctx)
			return nil
		}
		faults = d.failed(faults, err)
		if ended {
			d.End(ctx)
			return nil
		}
		if frames > 0 {
			attempt = 0
		}
		d.Close()
		if !pause(ctx, backoff(attempt)) {
			return nil
		}
	}
}

// session opens the driver if need be and delivers its frames until something ends it. recovered is called at the first frame.
func (d *Device) session(ctx context.Context, recovered func()) (frames int, err error) {
	if d.stream == nil {
		if err := d.Open(ctx); err != nil {
			return 0, err
		}
	}
	for {
		f, err := d.Next(ctx)
		if err != nil {
			return frames, err
		}
		if frames == 0 {
			recovered()
		}
		frames++
		d.heard.Store(int64(time.Since(d.start)))
		d.Deliver(ctx, f)
	}
}

// failed makes an event of a failure, unless one is raised already.
func (d *Device) failed(raised []*fault, err error) []*fault {
	text := err.Error()
	d.state.Store(&text)
	d.config.Log.Error("device failed", zap.Error(err))
	if len(raised) > 0 {
		return raised
	}
	for _, c := range d.conductors {
		c.mu.Lock()
		raised = append(raised, c.events.fault("device", d.config.Name, d.next, time.Now().UnixNano(), text))
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
			if silence := int64(time.Since(d.start)) - d.heard.Load(); silence > int64(watchEvery) {
				for _, c := range d.conductors {
					c.Silent(d.config.Name, now.UnixNano(), silence)
				}
			}
		}
	}
}
