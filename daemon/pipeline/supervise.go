package pipeline

import (
	"context"
	"slices"
)

// Begin starts the conductor's first estimator. Its devices should have been bound before, so that it can be told of its channels. On an
// error the conductor works on statically compensated readings; Run goes on trying.
func (c *Conductor) Begin(ctx context.Context, candidate Candidate) error {
	c.estimation.swap.lock()
	defer c.estimation.swap.unlock()
	r, err := c.bring(ctx, candidate, c.keptFor("", candidate), untold())
	return c.putFirst(candidate, r, err)
}

// putFirst puts what bring gave in force where no estimator is, without waiting for its first answer; the swap lock is held.
func (c *Conductor) putFirst(candidate Candidate, r *run, err error) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.estimation.beginning = false
	if err != nil {
		c.estimation.current = c.notStarted(candidate, err)
		c.estimation.wake()
		return err
	}
	r.role.Store(&role{})
	r.served.Store(true)
	c.estimation.current, c.estimation.pending = r, nil
	return nil
}

// notStarted stands for an estimator that did not start; the conductor's lock is held.
func (c *Conductor) notStarted(candidate Candidate, err error) *run {
	failed := newRun(candidate, c.estimation.generation, Started{}, nil)
	failed.fail(err)
	close(failed.ended)
	return failed
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

// Close ends the estimators and waits for them.
func (c *Conductor) Close() {
	c.close() // what is being started gives up
	c.estimation.swap.lock()
	defer c.estimation.swap.unlock()
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
	c.estimation.leaving.Wait()
}
