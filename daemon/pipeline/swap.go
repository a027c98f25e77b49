package pipeline

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/ampledger/ampledger/daemon/pluginhost"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// Step is a step of a swap.
type Step uint8

// The steps, in order. A swap that fails ends with an error instead of Swapped.
const (
	Starting Step = iota + 1 // the candidate's process is being started and configured
	Warming                  // it answers the retained summaries
	Swapped                  // it is in force
)

// ErrSwapBusy says that another swap of the conductor is going on, or that its first estimator is still being started.
var ErrSwapBusy = errors.New("an estimator of this conductor is being started already")

// ErrClosed says that the conductor is being closed.
var ErrClosed = errors.New("the daemon is stopping")

// ErrLockstep says that an offline run keeps its estimator.
var ErrLockstep = errors.New("an offline run keeps its estimator")

// warmDeadline is the longest a candidate may take to its first answer.
const warmDeadline = 30 * time.Second

// Swap puts a candidate in force. It is started, configured and warmed up with the retained summaries while the old estimator serves; when
// it has given its first answer, it takes over between two frames. at gives for each device the first sequence that goes through its
// offset. If anything fails, the candidate is ended and the old one is in force as before. progress is called at each step.
func (c *Conductor) Swap(ctx context.Context, candidate Candidate, progress func(Step, uint64)) (at map[string]uint64, err error) {
	unlock, err := c.claim()
	if err != nil {
		return nil, err
	}
	defer unlock()
	return c.replace(ctx, candidate, nil, progress)
}

func (c *Conductor) beginning() bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.estimation.beginning
}

// replace does the swap, starting the candidate with what was kept, if anything was; the swap lock is held.
func (c *Conductor) replace(ctx context.Context, candidate Candidate, kept *Kept, progress func(Step, uint64)) (map[string]uint64, error) {
	next, err := c.bring(ctx, candidate, kept, progress)
	if err != nil {
		return nil, err
	}
	at := c.takeOver(next)
	progress(Swapped, next.generation)
	return at, nil
}

// bring starts a candidate and warms it up; it is pending then. On an error nothing is left of it.
func (c *Conductor) bring(ctx context.Context, candidate Candidate, kept *Kept, progress func(Step, uint64)) (*run, error) {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	defer context.AfterFunc(c.open, func() { cancel(ErrClosed) })()
	generation := c.nextGeneration()
	progress(Starting, generation)
	next, err := c.startRun(ctx, candidate, generation, kept)
	if err != nil {
		return nil, err
	}
	progress(Warming, generation)
	if err := next.warm(ctx); err != nil {
		c.abandon(next)
		return nil, err
	}
	return next, nil
}

func (c *Conductor) nextGeneration() uint64 {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.estimation.generation++
	return c.estimation.generation
}

// startRun starts a candidate and makes it the pending one: from here on it gets each summary once that its state does not hold yet,
// those retained first.
func (c *Conductor) startRun(ctx context.Context, candidate Candidate, generation uint64, kept *Kept) (*run, error) {
	started, kept, err := c.start(ctx, candidate, kept)
	if err != nil {
		return nil, err
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	r := newRun(candidate, generation, started, c.estimation.after(kept))
	r.places, r.footings = c.wantPlays(started.HalfWidths), c.footings(kept)
	r.log, r.chargeIsPositive = c.config.Log, c.config.ChargeIsPositive
	c.estimation.pending = r
	// The run outlives the call that starts it: it ends when it is closed.
	working, end := context.WithCancel(context.WithoutCancel(ctx))
	r.end = end
	go func() {
		defer close(r.ended)
		if r.work(working) != nil && working.Err() == nil {
			c.estimation.wake()
		}
	}()
	return r, nil
}

// start starts a candidate; without its state if it does not take it, which is told.
func (c *Conductor) start(ctx context.Context, candidate Candidate, kept *Kept) (Started, *Kept, error) {
	started, err := c.config.Start(ctx, candidate, c.described(), kept.state())
	if kept == nil || !errors.Is(err, pluginhost.ErrState) {
		return started, kept, err
	}
	c.mu.Lock()
	c.events.note(candidate.Program.Name(), &plugin.Note{
		Subject: "state not restored", Text: "it begins anew, what it had learnt is lost: " + err.Error(),
	}, &c.estimation.newest)
	c.mu.Unlock()
	started, err = c.config.Start(ctx, candidate, c.described(), pluginhost.Kept{})
	return started, nil, err
}

// after gives the retained summaries that a kept state does not hold.
func (e *estimation) after(kept *Kept) (items []item) {
	for _, each := range e.retained {
		if kept == nil || each.number > kept.number {
			items = append(items, each)
		}
	}
	return items
}

// keep takes a state as the newest one and hands it on to be stored.
func (c *Conductor) keep(kept *Kept) {
	c.mu.Lock()
	c.estimation.kept = kept
	c.mu.Unlock()
	c.sink.Keep(c.config.Name, kept)
}

// wantPlays sees to it that each channel drives the operators an estimator wants.
func (c *Conductor) wantPlays(halfWidths map[string][]float64) map[string][]int {
	places := map[string][]int{}
	for _, lane := range c.lanes {
		if wanted := halfWidths[lane.Name]; len(wanted) > 0 {
			places[lane.Name] = lane.plays.Want(wanted)
		}
	}
	return places
}

// described is what an estimator is told of the conductor: its channels as far as their devices have been described.
func (c *Conductor) described() plugin.Conductor {
	c.mu.Lock()
	defer c.mu.Unlock()
	conductor := plugin.Conductor{
		Name: c.config.Name, ChargeIsPositive: c.config.ChargeIsPositive, CapacityCoulombs: c.config.CapacityCoulombs,
	}
	for _, lane := range c.measuring() {
		channel := &plugin.Channel{Name: lane.Name}
		if lane.bound {
			channel.NoiseAmperes, channel.ZeroUncertaintyAmperes, channel.GainUncertaintyRatio = lane.sensor.StaticUncertainty()
			if full, known := lane.sensor.FullScale(); known {
				channel.FullScaleAmperes = full
			}
		}
		conductor.Channels = append(conductor.Channels, channel)
	}
	return conductor
}

// warm waits for the candidate's first answer.
func (r *run) warm(ctx context.Context) error {
	ctx, cancel := context.WithTimeoutCause(ctx, warmDeadline,
		fmt.Errorf("estimator %s: gave no first answer within %v: it hangs, or no summary came", r.candidate.Program.Name(), warmDeadline))
	defer cancel()
	select {
	case <-r.answered:
		return r.failure() // it may have failed right after
	case <-r.failed:
		return r.failure()
	case <-ctx.Done():
		return context.Cause(ctx)
	}
}

// abandon ends a candidate that did not make it.
func (c *Conductor) abandon(r *run) {
	c.mu.Lock()
	c.estimation.pending = nil
	c.mu.Unlock()
	r.close()
}

// takeOver puts a run that is warm in force between two frames and ends the old one.
func (c *Conductor) takeOver(next *run) (at map[string]uint64) {
	c.mu.Lock()
	old, at := c.putInForce(next)
	c.mu.Unlock()
	c.endOld(old)
	return at
}

// putInForce makes a run the one in force; the conductor's lock is held.
func (c *Conductor) putInForce(next *run) (old *run, at map[string]uint64) {
	old = c.estimation.current
	if old != nil {
		old.inForce.Store(false)
	}
	next.inForce.Store(true)
	c.estimation.current, c.estimation.pending = next, nil
	c.takeEstimates()
	return old, c.nextSummaries()
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
