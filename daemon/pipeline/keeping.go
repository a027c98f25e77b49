package pipeline

import (
	"context"
	"slices"
	"time"

	"go.uber.org/zap"

	"github.com/ampledger/ampledger/daemon/offset"
)

// keeping asks an estimator's goroutine to take a snapshot after the summaries before it.
type keeping struct {
	of    *run
	to    func(*Kept) // takes the state
	plays map[*Lane][]offset.Play
	under map[string]uint64 // corrections in force
	done  chan struct{}     // closed when that was tried
}

// keepDue asks for a snapshot when the time has come.
func (c *Conductor) keepDue(s *side, now int64) {
	if s.keepDue == 0 || now < s.keepDue-2*c.config.PostNanos {
		s.keepDue = now + c.config.PostNanos
	}
	if now < s.keepDue || c.config.Lockstep {
		return
	}
	s.keepDue = now + c.config.PostNanos
	asked := slices.DeleteFunc(c.keepers(), func(r *run) bool { return !r.asked.isDone() }) // one that is slow keeps no other waiting
	if len(asked) > 0 {
		c.postAll() // so that the ledger is never behind the state
		c.askToKeep(asked)
	}
}

// postAll posts what every channel has counted, due or not.
func (c *Conductor) postAll() {
	for _, s := range c.sides {
		for _, lane := range s.accounts {
			lane.post(c.sink, lane.due, c.config.posts(), true)
		}
	}
}

func (k *keeping) isDone() bool {
	if k == nil {
		return true
	}
	select {
	case <-k.done:
		return true
	case <-k.of.ended: // nobody answers any more
		return true
	default:
		return false
	}
}

// keepers are the estimators whose states are kept, as far as they work: the one in force and those that the configuration puts in the shadow.
func (c *Conductor) keepers() (all []*run) {
	if r := c.estimation.current; r != nil && r.failure() == nil {
		all = append(all, r)
	}
	for _, s := range c.estimation.shadows {
		if s.stays && s.failure() == nil {
			all = append(all, s.run)
		}
	}
	return all
}

// askToKeep queues the question behind their summaries. Who is too far behind is left out.
func (c *Conductor) askToKeep(of []*run) (asked []*keeping) {
	for _, r := range of {
		if k := c.ask(r); k != nil {
			asked = append(asked, k)
		}
	}
	return asked
}

func (c *Conductor) ask(r *run) *keeping {
	k := &keeping{of: r, plays: map[*Lane][]offset.Play{}, done: make(chan struct{}), to: c.keep}
	for _, lane := range c.lanes {
		k.plays[lane] = lane.plays.Stand()
	}
	k.under = c.corrections()
	if !r.queueUp(item{keep: k}) {
		return nil
	}
	r.asked = k
	return k
}

// keepNow has the states kept, after all summaries so far, and waits for it, but no longer than ctx.
func (c *Conductor) keepNow(ctx context.Context) {
	c.mu.Lock()
	c.postAll()
	asked := c.askToKeep(c.keepers())
	c.mu.Unlock()
	for _, k := range asked {
		select {
		case <-k.done:
		case <-k.of.ended:
		case <-ctx.Done():
			c.config.Log.Warn("an estimator's state was not kept in time", zap.String("estimator", k.of.candidate.Program.Name()),
				zap.Error(context.Cause(ctx)))
		}
	}
}

// keepState takes a snapshot after the newest summary answered and hands it on.
func (r *run) keepState(ctx context.Context, k *keeping) {
	defer close(k.done)
	state, err := r.started.Snapshot(ctx)
	if err != nil {
		r.log.Warn("an estimator gave no snapshot", zap.String("estimator", r.candidate.Program.Name()), zap.Error(err))
		return
	}
	k.to(r.describe(state, k))
}

func (r *run) describe(state []byte, k *keeping) *Kept {
	r.mu.Lock()
	defer r.mu.Unlock()
	kept := &Kept{
		Shadow: r.shadow(), Plugin: r.candidate.Program.Name(), State: state, ChargeIsPositive: r.chargeIsPositive, Wall: time.Now().UnixNano(), number: r.answeredNumber, Corrections: k.under, Channels: map[string]KeptChannel{},
	}
	for lane, newest := range r.newest {
		kept.Channels[lane.Name] = lane.keptChannel(&newest, k.plays[lane])
	}
	return kept
}
