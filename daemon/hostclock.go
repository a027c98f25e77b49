package daemon

import (
	"context"
	"errors"
	"time"

	"go.uber.org/zap"

	"github.com/ampledger/ampledger/daemon/store"
)

const (
	clockEvery  = 10 * time.Second // how often the host's clocks are written down
	leastStep   = time.Second      // of the wall clock, that is told: less is what a disciplined clock does
	clockWithin = 5 * time.Second  // to write them down

	mostStep = 20 * 365 * 24 * time.Hour // a machine without a clock of its own begins in 1970 or at its making; more is no setting
)

// clockStep is by how much the wall clock was set between two moments, as the time since the machine started tells; 0 if the machine was
// started in between, for then nothing tells.
func clockStep(before, now store.Clock) time.Duration {
	if before.BootID == "" || before.BootID != now.BootID || before.WallNanos <= 0 || before.BootNanos < 0 || now.BootNanos < before.BootNanos {
		return 0 // or a row that cannot be
	}
	step := time.Duration((now.WallNanos - before.WallNanos) - (now.BootNanos - before.BootNanos))
	if step.Abs() < leastStep || step.Abs() > mostStep {
		return 0
	}
	return step
}

// readClockStep finds by how much the wall clock was set while the daemon was away, and writes the clocks down for the next time.
func (r *running) readClockStep(ctx context.Context) (time.Duration, error) {
	before, err := r.store.Clock(ctx)
	if err != nil && !errors.Is(err, store.ErrNoClock) {
		return 0, err
	}
	now, err := hostClock()
	if err != nil {
		return 0, nil // nothing but the wall clock tells the time here
	}
	return clockStep(before, now), r.store.PutClock(ctx, now)
}

// keepClock writes the host's clocks down now and then until ctx ends, and a last time then.
func (r *running) keepClock(ctx context.Context) error {
	ticker := time.NewTicker(clockEvery)
	defer ticker.Stop()
	for {
		select {
		case <-ctx.Done():
			r.putClock(ctx)
			return nil
		case <-ticker.C:
			r.putClock(ctx)
		}
	}
}

func (r *running) putClock(ctx context.Context) {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), clockWithin)
	defer cancel()
	now, err := hostClock()
	if err == nil {
		err = r.store.PutClock(ctx, now)
	}
	if err != nil {
		r.options.Log.Warn("the host's clocks were not written down", zap.Error(err))
	}
}
