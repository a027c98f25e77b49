package pipeline

import (
	"context"
	"math/rand/v2"
	"slices"
	"time"

	"go.uber.org/zap"
)

// Begin starts the conductor's first estimator. Its devices should have been bound before, so that it can be told of its channels. On an
// error the conductor works on statically compensated readings; Run goes on trying.
func (c *Conductor) Begin(ctx context.Context, candidate Candidate) error {
	c.estimation.swap.Lock()
	defer c.estimation.swap.Unlock()
	r, err := c.bring(ctx, candidate, c.keptFor("", candidate), untold())
	return c.putFirst(candidate, r, err)
}

// putFirst puts what bring gave in force where no estimator is, without waiting for its first answer; the swap lock is held.
func (c *Conductor) putFirst(candidate Candidate, r *run, err error) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.estimation.beginning = false
	if err != nil {
		failed := newRun(candidate, c.estimation.generation, Started{}, nil)
		failed.fail(err)
		close(failed.ended)
		c.estimation.current = failed
		c.estimation.wake()
		return err
	}
	r.role.Store(&role{})
	c.estimation.current, c.estimation.pending = r, nil
	return nil
}

// Run supervises the estimator until ctx ends: one that failed is started again, warmed up with the retained summaries, while the
// offset it gave last is held and its uncertainty grows.
func (c *Conductor) Run(ctx context.Context) error {
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-c.estimation.died:
			c.tellFailedShadows()
			if failed := c.failedInForce(); failed != nil {
				c.revive(ctx, failed)
			}
		}
	}
}

// revive replaces a failed estimator, trying again after each failure with a longer wait.
func (c *Conductor) revive(ctx context.Context, failed *run) {
	name := failed.candidate.Program.Name()
	c.config.Log.Error("estimator failed; its last offset is held", zap.String("estimator", name), zap.Error(failed.failure()))
	raised := c.raise(name, failed.failure().Error())
	for attempt := 0; ; attempt++ {
		if !pause(ctx, backoff(attempt)) {
			return
		}
		if !c.inForce(failed) || c.retry(ctx, failed) {
			c.clear(raised)
			return
		}
	}
}

func (c *Conductor) retry(ctx context.Context, failed *run) bool {
	c.estimation.swap.Lock()
	defer c.estimation.swap.Unlock()
	if !c.inForce(failed) || c.open.Err() != nil {
		return true
	}
	_, err := c.replace(ctx, failed.candidate, c.keptFor("", failed.candidate), untold())
	if err != nil && ctx.Err() == nil {
		c.config.Log.Error("estimator did not come back", zap.String("estimator", failed.candidate.Program.Name()), zap.Error(err))
	}
	return err == nil
}

// failedInForce gives the estimator in force if it failed. A candidate that did is for whoever started it to know.
func (c *Conductor) failedInForce() *run {
	c.mu.Lock()
	defer c.mu.Unlock()
	if r := c.estimation.current; r != nil && r.failure() != nil {
		return r
	}
	return nil
}

func (c *Conductor) inForce(r *run) bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.estimation.current == r
}

func (c *Conductor) raise(estimator, detail string) *fault {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.events.fault("estimator", estimator, c.estimation.newest.Sequence, c.estimation.newest.Wall, detail)
}

func (c *Conductor) clear(raised *fault) {
	c.mu.Lock()
	defer c.mu.Unlock()
	raised.clear(c.estimation.newest.Sequence, c.estimation.newest.Wall)
}

// Close ends the estimators and waits for them.
func (c *Conductor) Close() {
	c.close() // what is being started gives up
	c.estimation.swap.Lock()
	defer c.estimation.swap.Unlock()
	c.mu.Lock()
	runs := []*run{c.estimation.current, c.estimation.pending}
	for _, s := range c.estimation.shadows {
		runs = append(runs, s.run)
	}
	c.estimation.current, c.estimation.pending, c.estimation.shadows = nil, nil, nil
	c.mu.Unlock()
	for _, r := range slices.Backward(runs) {
		if r != nil {
			r.close()
		}
	}
}

// backoff is how long to wait before the next attempt: 0.5 s, doubling to a minute, up to a quarter more by chance, so that plugins
// that failed together do not come back together.
func backoff(attempt int) time.Duration {
	base := min(time.Minute, 500*time.Millisecond<<min(attempt, 10))
	return base + rand.N(base/4+1)
}

// pause waits; false = ctx ended first.
func pause(ctx context.Context, d time.Duration) bool {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-ctx.Done():
		return false
	case <-timer.C:
		return true
	}
}
