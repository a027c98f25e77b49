package pipeline

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/ampledger/ampledger/daemon/offset"
)

// mostShadows is how many estimators may run beside the one in force.
const mostShadows = 8

// The reasons why nothing is done about a shadow.
var (
	ErrShadowUnknown = errors.New("there is no such shadow")
	ErrShadowTaken   = errors.New("there is a shadow of that name already")
	ErrShadowsFull   = errors.New("as many shadows run as may: remove one")
	ErrNoPrevious    = errors.New("no estimator was in force before this one")
)

// shadow is an estimator that gets the same summaries as the one in force and changes nothing.
type shadow struct {
	name string
	*run
	raised *fault // told that it failed; nil = not yet
}

// retired is the estimator that was in force before, ready to be started again.
type retired struct {
	candidate Candidate
	kept      *Kept // nil = it gave no state
}

// AddShadow starts a candidate beside the estimator in force, warmed up with the retained summaries. It returns when it has given its
// first answer; on an error nothing is left of it. progress is called at each step.
func (c *Conductor) AddShadow(ctx context.Context, name string, candidate Candidate, progress func(Step, uint64)) (generation uint64, err error) {
	unlock, err := c.claim()
	if err != nil {
		return 0, err
	}
	defer unlock()
	if err := c.roomForShadow(name); err != nil {
		return 0, err
	}
	next, err := c.bring(ctx, candidate, nil, progress)
	if err != nil {
		return 0, err
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.estimation.pending = nil
	c.estimation.shadows = append(c.estimation.shadows, shadow{name: name, run: next})
	c.estimation.wake() // it may have failed meanwhile
	return next.generation, nil
}

func (c *Conductor) roomForShadow(name string) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	switch {
	case c.estimation.shadow(name) >= 0:
		return fmt.Errorf("%w: %s", ErrShadowTaken, name)
	case len(c.estimation.shadows) >= mostShadows:
		return ErrShadowsFull
	}
	return nil
}

func (e *estimation) shadow(name string) int {
	return slices.IndexFunc(e.shadows, func(s shadow) bool { return s.name == name })
}

// RemoveShadow ends a shadow.
func (c *Conductor) RemoveShadow(name string) error {
	c.mu.Lock()
	r, err := c.takeShadow(name, false)
	c.mu.Unlock()
	if err != nil {
		return err
	}
	r.close() // outside the lock: no reading waits for a process to end
	return nil
}

// takeShadow takes a shadow out, under the conductor's lock; if it is to work, one that failed stays and the error says why it did.
func (c *Conductor) takeShadow(name string, works bool) (*run, error) {
	i := c.estimation.shadow(name)
	if i < 0 {
		return nil, fmt.Errorf("%w: %s", ErrShadowUnknown, name)
	}
	r, raised := c.estimation.shadows[i].run, c.estimation.shadows[i].raised
	if fault := r.failure(); works && fault != nil {
		return nil, fault
	}
	if raised != nil {
		raised.clear(c.estimation.newest.Sequence, c.estimation.newest.Wall)
	}
	c.estimation.shadows = slices.Delete(c.estimation.shadows, i, i+1)
	return r, nil
}

// Promote puts a shadow in force between two frames. It is warm already.
func (c *Conductor) Promote(name string) (at map[string]uint64, generation uint64, err error) {
	unlock, err := c.claim()
	if err != nil {
		return nil, 0, err
	}
	defer unlock()
	c.mu.Lock()
	r, err := c.takeShadow(name, true)
	if err != nil {
		c.mu.Unlock()
		return nil, 0, err
	}
	old, at := c.putInForce(r) // under one lock with takeShadow: no summary falls between
	c.mu.Unlock()
	c.endOld(old)
	return at, r.generation, nil
}

// Revert puts the estimator that was in force before in force again, with what it knew then and what it missed since. It is a swap like any other.
func (c *Conductor) Revert(ctx context.Context, progress func(Step, uint64)) (at map[string]uint64, err error) {
	unlock, err := c.claim()
	if err != nil {
		return nil, err
	}
	defer unlock()
	c.mu.Lock()
	before := c.estimation.previous
	c.mu.Unlock()
	if before == nil {
		return nil, ErrNoPrevious
	}
	return c.replace(ctx, before.candidate, before.kept, progress)
}

// claim takes the right to change the conductor's estimators; unlock gives it back.
func (c *Conductor) claim() (unlock func(), err error) {
	if c.config.Lockstep {
		return nil, ErrLockstep
	}
	if !c.estimation.swap.TryLock() {
		return nil, ErrSwapBusy
	}
	if c.open.Err() != nil {
		c.estimation.swap.Unlock()
		return nil, ErrClosed
	}
	if c.beginning() {
		c.estimation.swap.Unlock()
		return nil, ErrSwapBusy
	}
	return c.estimation.swap.Unlock, nil
}

// retireWithin is how long an estimator that was in force may take to give its state.
const retireWithin = 2 * time.Second

// retire takes the state of an estimator that is in force no more, for Revert, and ends it.
func (c *Conductor) retire(old *run) {
	before := &retired{candidate: old.candidate}
	if old.failure() == nil {
		k := &keeping{plays: map[*Lane][]offset.Play{}, done: make(chan struct{}), to: func(kept *Kept) { before.kept = kept }}
		if old.queueUp(item{keep: k}) {
			timer := time.NewTimer(retireWithin)
			defer timer.Stop()
			select {
			case <-k.done:
			case <-old.ended:
			case <-timer.C:
			}
		}
	}
	old.close()
	c.mu.Lock()
	defer c.mu.Unlock()
	c.estimation.previous = before
}

// tellFailedShadows makes an event of each shadow that failed, once. It is not started again: what it would show would be another one's.
func (c *Conductor) tellFailedShadows() {
	c.mu.Lock()
	defer c.mu.Unlock()
	for i := range c.estimation.shadows {
		s := &c.estimation.shadows[i]
		if s.failure() != nil && s.raised == nil {
			s.raised = c.events.estimatorFault(s.run.name()+" in the shadow as "+s.name, s.run, &c.estimation.newest)
		}
	}
}

// Shadows gives how the shadows are doing.
func (c *Conductor) Shadows() (names []string, all []EstimatorStatus) {
	c.mu.Lock()
	shadows := slices.Clone(c.estimation.shadows)
	c.mu.Unlock()
	for _, s := range shadows {
		names, all = append(names, s.name), append(all, s.status())
	}
	return names, all
}
