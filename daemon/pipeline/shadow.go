package pipeline

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/ampledger/ampledger/daemon/offset"
)

// The reasons why nothing is done about a shadow.
var (
	ErrShadowUnknown = errors.New("there is no such shadow")
	ErrShadowTaken   = errors.New("there is a shadow of that name already")
	ErrShadowsFull   = errors.New("as many shadows run as may (estimates.most_shadow_count): remove one")
	ErrNoPrevious    = errors.New("no estimator was in force before this one")
)

// shadow is an estimator that gets the same summaries as the one in force and changes nothing.
type shadow struct {
	name string
	*run
	raised *fault // told that it failed; nil = not yet
	stays  bool   // it is of the configuration: its state is kept
}

// retired is the estimator that was in force before, ready to be started again.
type retired struct {
	candidate Candidate
	kept      *Kept // nil = it gave no state
}

// AddShadow starts a candidate beside the estimator in force, warmed up with the retained summaries. It returns when it has answered them;
// on an error nothing is left of it. tell is called at each step.
func (c *Conductor) AddShadow(ctx context.Context, name string, candidate Candidate, tell func(Progress)) (generation uint64, err error) {
	unlock, err := c.claim()
	if err != nil {
		return 0, err
	}
	defer unlock()
	if err := c.roomForShadow(name); err != nil {
		return 0, err
	}
	p := &progress{tell: tell}
	next, err := c.bring(ctx, candidate, nil, p)
	if err == nil {
		err = c.warm(ctx, next, p)
	}
	if err != nil {
		return 0, err
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.putInShadow(name, next, false)
	p.become(Shadowing)
	return next.generation, nil
}

// putInShadow makes the pending run a shadow; the conductor's lock is held.
func (c *Conductor) putInShadow(name string, next *run, stays bool) {
	next.role.Store(&role{shadow: name})
	c.estimation.pending = nil
	c.estimation.shadows = append(c.estimation.shadows, shadow{name: name, run: next, stays: stays})
	c.estimation.wake() // it may have failed meanwhile
}

// BeginShadow starts an estimator that the configuration puts in the shadow, with what was kept of it. It comes after Begin, and does not wait for
// an answer.
func (c *Conductor) BeginShadow(ctx context.Context, name string, candidate Candidate) error {
	c.estimation.swap.Lock()
	defer c.estimation.swap.Unlock()
	next, err := c.bring(ctx, candidate, c.keptFor(name, candidate), untold())
	if err != nil {
		return err
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.putInShadow(name, next, true)
	return nil
}

func (c *Conductor) roomForShadow(name string) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	switch {
	case c.estimation.shadow(name) >= 0:
		return fmt.Errorf("%w: %s", ErrShadowTaken, name)
	case len(c.estimation.shadows) >= c.config.MostShadows:
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

// Promote puts a shadow in force between two frames. It is warm already. tell is called when it is.
func (c *Conductor) Promote(name string, tell func(Progress)) (at map[string]uint64, err error) {
	return c.promote(name, &progress{tell: tell})
}

func (c *Conductor) promote(name string, p *progress) (at map[string]uint64, err error) {
	unlock, err := c.claim()
	if err != nil {
		return nil, err
	}
	defer unlock()
	c.mu.Lock()
	r, err := c.takeShadow(name, true)
	if err != nil {
		c.mu.Unlock()
		return nil, err
	}
	old, at := c.putInForce(r) // under one lock with takeShadow: no summary falls between
	c.mu.Unlock()
	c.endOld(old)
	p.Generation = r.generation
	p.become(Swapped)
	return at, nil
}

// Revert puts the estimator that was in force before in force again, with what it knew then and what it missed since. It is a swap like any other.
func (c *Conductor) Revert(ctx context.Context, tell func(Progress)) (at map[string]uint64, err error) {
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
	return c.replace(ctx, before.candidate, before.kept, &progress{tell: tell})
}

// retireWithin is how long an estimator that was in force may take to give its state.
const retireWithin = 2 * time.Second

// retire takes the state of an estimator that is in force no more, for Revert, and ends it.
func (c *Conductor) retire(old *run) {
	before := &retired{candidate: old.candidate}
	if old.failure() == nil {
		k := &keeping{of: old, plays: map[*Lane][]offset.Play{}, done: make(chan struct{}), to: func(kept *Kept) { before.kept = kept }}
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
		if fault := s.failure(); fault != nil && s.raised == nil {
			s.raised = c.events.fault("estimator", s.candidate.Program.Name()+" in the shadow as "+s.name, c.estimation.newest.Sequence, c.estimation.newest.Wall,
				fault.Error())
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
