package pipeline

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/ampledger/ampledger/daemon/pluginhost"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// The longest a candidate may take to its first answer, and to be through with the retained summaries.
const (
	firstAnswerWithin = 30 * time.Second
	warmWithin        = 5 * time.Minute
)

// bring starts a candidate; it is pending then, and works off what is retained. On an error nothing is left of it, and the swap has failed.
func (c *Conductor) bring(ctx context.Context, candidate Candidate, kept *Kept, p *progress) (*run, error) {
	ctx, end := c.whileOpen(ctx)
	defer end()
	p.Generation = c.nextGeneration()
	p.become(Starting)
	next, err := c.startRun(ctx, candidate, p.Generation, kept, p)
	if err != nil {
		p.become(Failed)
		return nil, err
	}
	return next, nil
}

// whileOpen gives a context that also ends when the conductor is being closed.
func (c *Conductor) whileOpen(ctx context.Context) (context.Context, func()) {
	ctx, cancel := context.WithCancelCause(ctx)
	stop := context.AfterFunc(c.open, func() { cancel(ErrClosed) })
	return ctx, func() {
		stop()
		cancel(nil)
	}
}

func (c *Conductor) nextGeneration() uint64 {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.estimation.generation++
	return c.estimation.generation
}

// startRun starts a candidate and makes it the pending one: from here on it gets each summary once that its state does not hold yet,
// those retained first.
func (c *Conductor) startRun(ctx context.Context, candidate Candidate, generation uint64, kept *Kept, p *progress) (*run, error) {
	started, kept, err := c.start(ctx, candidate, kept, p)
	if err != nil {
		return nil, err
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	r := newRun(candidate, generation, started, c.estimation.after(kept))
	r.places, r.footings = c.wantPlays(started.HalfWidths), c.footings(kept)
	r.log, r.chargeIsPositive = c.config.Log, c.config.ChargeIsPositive
	r.to, r.conductor, r.opening = c.sink, c.config.Name, c.config.Opening
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
func (c *Conductor) start(ctx context.Context, candidate Candidate, kept *Kept, p *progress) (Started, *Kept, error) {
	started, err := c.config.Start(ctx, candidate, c.described(), kept.state(), p.become)
	if kept == nil || !errors.Is(err, pluginhost.ErrState) {
		return started, kept, p.started(err)
	}
	c.mu.Lock()
	c.events.note(candidate.Program.Name(), &plugin.Note{
		Subject: "state not restored", Text: "it begins anew, what it had learnt is lost: " + err.Error(),
	}, &c.estimation.newest)
	c.mu.Unlock()
	p.become(Starting)
	started, err = c.config.Start(ctx, candidate, c.described(), pluginhost.Kept{}, p.become)
	return started, nil, p.started(err)
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
	c.estimation.kept[kept.Shadow] = kept
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

// warm waits until the candidate has answered all retained summaries, or its first one if none was retained. On an error nothing is left of it,
// and the swap has failed.
func (c *Conductor) warm(ctx context.Context, r *run, p *progress) error {
	ctx, end := c.whileOpen(ctx)
	defer end()
	p.become(Warming)
	if err := r.warm(ctx, p); err != nil {
		c.abandon(r)
		p.become(Failed)
		return err
	}
	return nil
}

func (r *run) warm(ctx context.Context, p *progress) error {
	name := r.candidate.Program.Name()
	first := time.NewTimer(firstAnswerWithin)
	defer first.Stop()
	ctx, cancel := context.WithTimeoutCause(ctx, warmWithin,
		fmt.Errorf("estimator %s: had not answered the %d retained summaries within %v", name, r.toWarm, warmWithin))
	defer cancel()
	answered := r.answered
	for {
		select {
		case <-answered:
			first.Stop()
			answered = nil // once
		case <-r.advanced:
			p.warmed(r.fraction())
		case <-r.warmed:
			return r.failure() // it may have failed right after
		case <-r.failed:
			return r.failure()
		case <-first.C:
			return fmt.Errorf("estimator %s: gave no first answer within %v: it hangs, or no summary came", name, firstAnswerWithin)
		case <-ctx.Done():
			return context.Cause(ctx)
		}
	}
}

// abandon ends a candidate that did not make it.
func (c *Conductor) abandon(r *run) {
	c.mu.Lock()
	c.estimation.pending = nil
	c.mu.Unlock()
	r.close()
}
