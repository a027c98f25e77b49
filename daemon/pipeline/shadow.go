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
	ErrNoOffsets     = errors.New("it derives quantities and gives no offset: let it run in the shadow")
	ErrNoPrevious    = errors.New("no estimator was in force before this one")
)

// shadow is an estimator that gets the same summaries as the one in force and changes nothing.
type shadow struct {
	name string
	*run
	raised *fault            // told that it failed; nil = not yet
	heard  map[subject]int64 // wall-clock time at which it was told last what the shadow says of a subject
	trial  bool              // it is a candidate on trial
	stays  bool              // it is of the configuration: its state is kept
}

// title is what people know it as.
func (s *shadow) title() string { return s.candidate.Program.Name() + " in the shadow as " + s.name }

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
	next, err := c.bringWarm(ctx, candidate, p)
	if err != nil {
		return 0, err
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.putInShadow(name, next, false)
	p.become(Shadowing)
	return next.generation, nil
}

// bringWarm brings a candidate up for the shadow, which gives way to an estimator in force that has to be started again.
func (c *Conductor) bringWarm(ctx context.Context, candidate Candidate, p *progress) (*run, error) {
	ctx, done := c.estimation.swap.yielding(ctx)
	defer done()
	next, err := c.bring(ctx, candidate, nil, p)
	if err != nil {
		return nil, err
	}
	return next, c.warm(ctx, next, p)
}

// putInShadow makes the pending run a shadow; the conductor's lock is held.
func (c *Conductor) putInShadow(name string, next *run, stays bool) {
	next.role.Store(&role{shadow: name})
	c.estimation.pending = nil
	c.estimation.shadows = append(c.estimation.shadows, shadow{name: name, run: next, stays: stays})
	c.estimation.wake() // it may have failed meanwhile
}

// BeginShadow starts an estimator that the configuration puts in the shadow, with what was kept of it. It comes after Begin, and does not wait for
// an answer. On an error Run goes on trying.
func (c *Conductor) BeginShadow(ctx context.Context, name string, candidate Candidate) error {
	c.estimation.swap.lock()
	defer c.estimation.swap.unlock()
	next, err := c.bring(ctx, candidate, c.keptFor(name, candidate), untold())
	c.mu.Lock()
	defer c.mu.Unlock()
	if err != nil {
		next = c.notStarted(candidate, err)
	}
	c.putInShadow(name, next, true)
	return err
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
	if err == nil {
		c.estimation.leaving.Add(1) // Close waits for it
	}
	c.mu.Unlock()
	if err != nil {
		return err
	}
	defer c.estimation.leaving.Done()
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
	if works && r.givesNoOffset() {
		return nil, ErrNoOffsets
	}
	if raised != nil {
		raised.clear(c.estimation.newest.Sequence, c.estimation.newest.Wall)
	}
	c.estimation.shadows = slices.Delete(c.estimation.shadows, i, i+1)
	c.estimation.wake() // who would start it again is to know
	return r, nil
}

// Promote puts a shadow in force between two frames. It is warm already. tell is called when it is.
func (c *Conductor) Promote(name string, tell func(Progress)) (at map[string]uint64, err error) {
	unlock, err := c.claim()
	if err != nil {
		return nil, err
	}
	defer unlock()
	return c.promote(name, &progress{tell: tell})
}

// promote puts a shadow in force; the gate is held.
func (c *Conductor) promote(name string, p *progress) (at map[string]uint64, err error) {
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

// retire takes the state of an estimator that is in force no more, for Revert, and ends it. Of one that failed it is the state that was kept.
func (c *Conductor) retire(old *run) {
	before := &retired{candidate: old.candidate, kept: c.keptFor("", old.candidate)}
	if old.failure() == nil {
		before.kept = nil
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

// tellFailedShadows makes an event of each shadow that failed, once.
func (c *Conductor) tellFailedShadows() {
	c.mu.Lock()
	defer c.mu.Unlock()
	for i := range c.estimation.shadows {
		s := &c.estimation.shadows[i]
		if s.failure() != nil && s.raised == nil {
			s.raised = c.events.estimatorFault(s.title(), s.run, &c.estimation.newest)
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
