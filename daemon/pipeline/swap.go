package pipeline

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// ErrSwapBusy says that another swap of the conductor is going on, or that its first estimator is still being started.
var ErrSwapBusy = errors.New("an estimator of this conductor is being started already")

// ErrClosed says that the conductor is being closed.
var ErrClosed = errors.New("the daemon is stopping")

// ErrLockstep says that a run in lockstep keeps its estimators.
var ErrLockstep = errors.New("a run in lockstep keeps its estimators")

// Trial is what a candidate must pass before it takes over.
type Trial struct {
	For            time.Duration // so long it runs in the shadow; 0 = it takes over at once
	MostDeviations float64       // by so many times their uncertainties together its offset may then be off that in force; 0 = by any
}

// Swap puts a candidate in force. It is started, configured and warmed up with all retained summaries while the old estimator serves; then,
// after its trial, it takes over between two frames. at gives for each device the first sequence that goes through its offset. If anything
// fails, the candidate is ended and the old one is in force as before. tell is called at each step. During the trial the conductor is
// free: its candidate is a shadow then, and whoever is in force at the end is what it is held against.
func (c *Conductor) Swap(ctx context.Context, candidate Candidate, trial Trial, tell func(Progress)) (at map[string]uint64, err error) {
	unlock, err := c.claim()
	if err != nil {
		return nil, err
	}
	p := &progress{tell: tell}
	if trial.For <= 0 {
		defer unlock()
		return c.replace(ctx, candidate, nil, p)
	}
	name, next, err := c.begin(ctx, candidate, p)
	unlock()
	if err != nil {
		return nil, err
	}
	p.become(Shadowing)
	if at, err = c.finishTrial(ctx, name, next, trial, p); err != nil {
		if gone := c.RemoveShadow(name); gone != nil && !errors.Is(gone, ErrShadowUnknown) {
			err = errors.Join(err, gone)
		}
		p.become(Failed)
	}
	return at, err
}

// finishTrial waits for the end of a trial and puts the candidate in force if it passed.
func (c *Conductor) finishTrial(ctx context.Context, name string, next *run, trial Trial, p *progress) (map[string]uint64, error) {
	ctx, end := c.whileOpen(ctx)
	defer end()
	if err := c.endure(ctx, next, trial.For); err != nil {
		return nil, err
	}
	if err := c.estimation.swap.wait(ctx); err != nil { // whatever else is being started: a week's trial is not thrown away for it
		return nil, err
	}
	defer c.estimation.swap.unlock()
	for _, compared := range c.Compare(math.MinInt64, math.MaxInt64) {
		if compared.Shadow == name && compared.Generation == next.generation {
			if err := trial.judge(c.inForceOffsets(), &compared); err != nil {
				return nil, err
			}
			return c.promote(name, p)
		}
	}
	return nil, fmt.Errorf("%w: %s was removed", ErrShadowUnknown, name)
}

// begin brings a candidate up into the shadow, under a name that no other has.
func (c *Conductor) begin(ctx context.Context, candidate Candidate, p *progress) (name string, next *run, err error) {
	if err := c.roomForShadow(""); err != nil {
		return "", nil, err
	}
	if next, err = c.bringWarm(ctx, candidate, p); err != nil {
		return "", nil, err
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	name = fmt.Sprintf("candidate-%d", next.generation)
	for c.estimation.shadow(name) >= 0 {
		name += "-"
	}
	c.putInShadow(name, next, false)
	c.estimation.shadows[len(c.estimation.shadows)-1].trial = true
	return name, next, nil
}

// endure waits for the time in the shadow; a candidate that ends before does not pass.
func (c *Conductor) endure(ctx context.Context, next *run, long time.Duration) error {
	timer := time.NewTimer(long)
	defer timer.Stop()
	select {
	case <-ctx.Done():
		return context.Cause(ctx)
	case <-next.failed:
		return next.failure()
	case <-next.ended:
		if c.open.Err() != nil {
			return ErrClosed
		}
		return fmt.Errorf("%w: it was removed", ErrShadowUnknown)
	case <-timer.C:
		return nil
	}
}

// inForceOffsets gives what the estimator in force says of each channel.
func (c *Conductor) inForceOffsets() map[string]NamedEstimate {
	offsets := map[string]NamedEstimate{}
	if status, has := c.Estimator(); has {
		for _, e := range status.Newest {
			offsets[e.Channel] = e
		}
	}
	return offsets
}

// judge tells why a candidate may not take over; nil = it may.
func (t *Trial) judge(inForce map[string]NamedEstimate, candidate *Comparison) error {
	if candidate.Fault != nil {
		return candidate.Fault
	}
	if t.MostDeviations == 0 {
		return nil
	}
	compared := 0
	for _, of := range candidate.Channels {
		if old, has := inForce[of.GetChannel()]; has {
			compared++
			if err := t.compare(&old, of); err != nil {
				return err
			}
		}
	}
	if compared == 0 {
		return errors.New("it gave no offset that could be held against one in force")
	}
	return nil
}

func (t *Trial) compare(old *NamedEstimate, of *ampledgerv1.ChannelComparison) error {
	off := math.Abs(of.GetOffsetAmperes() - old.Amperes)
	together := math.Hypot(of.GetOffsetUncertaintyAmperes(), old.Uncertainty)
	if off <= t.MostDeviations*together {
		return nil
	}
	return fmt.Errorf("channel %s: its offset is %.4g A off that in force, more than %g times the %.4g A of their uncertainties together",
		of.GetChannel(), off, t.MostDeviations, together)
}

// claim takes the right to change the conductor's estimators; unlock gives it back.
func (c *Conductor) claim() (unlock func(), err error) {
	if c.config.Lockstep {
		return nil, ErrLockstep
	}
	if !c.estimation.swap.try() {
		return nil, ErrSwapBusy
	}
	if c.open.Err() != nil {
		c.estimation.swap.unlock()
		return nil, ErrClosed
	}
	if c.beginning() {
		c.estimation.swap.unlock()
		return nil, ErrSwapBusy
	}
	return c.estimation.swap.unlock, nil
}

func (c *Conductor) beginning() bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.estimation.beginning
}

// replace does a swap at once, starting the candidate with what was kept, if anything was; the swap lock is held.
func (c *Conductor) replace(ctx context.Context, candidate Candidate, kept *Kept, p *progress) (map[string]uint64, error) {
	next, err := c.bring(ctx, candidate, kept, p)
	if err != nil {
		return nil, err
	}
	if err := c.warm(ctx, next, p); err != nil {
		return nil, err
	}
	if next.givesNoOffset() {
		c.abandon(next)
		p.become(Failed)
		return nil, ErrNoOffsets
	}
	at := c.takeOver(next, p.again)
	p.become(Swapped)
	return at, nil
}

// takeOver puts a run that is warm in force between two frames and ends the old one. again = it is the same one, started again.
func (c *Conductor) takeOver(next *run, again bool) (at map[string]uint64) {
	c.mu.Lock()
	old, at := c.putInForce(next)
	c.mu.Unlock()
	if again {
		c.estimation.wake()
		old.close() // who was in force before that stays who it was
	} else {
		c.endOld(old)
	}
	return at
}

// putInForce makes a run the one in force; the conductor's lock is held.
func (c *Conductor) putInForce(next *run) (old *run, at map[string]uint64) {
	old, at = c.estimation.current, c.nextSummaries()
	if old != nil {
		old.role.Store(nil)
	}
	next.role.Store(&role{})
	next.served.Store(true)
	c.estimation.current, c.estimation.pending = next, nil
	c.noteCutOver(old, next, at)
	c.takeEstimates()
	return old, at
}

// endOld ends the one that was.
func (c *Conductor) endOld(old *run) {
	c.estimation.wake() // if it failed before it was in force, nobody was told
	if old != nil {
		c.retire(old) // outside the lock: no reading waits for a process to end
	}
}

// nextSummaries gives for each device the sequence at which the next summary begins: an offset changes only there.
func (c *Conductor) nextSummaries() map[string]uint64 {
	at := map[string]uint64{}
	for _, s := range c.sides {
		var next uint64
		for _, lane := range s.lanes {
			next = max(next, lane.next)
		}
		if s.open.begun {
			next = (s.open.block + 1) * s.summaryScans
		}
		at[s.device] = next
	}
	return at
}
