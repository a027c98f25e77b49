package pipeline

import (
	"context"
	"sync"

	"github.com/ampledger/ampledger/daemon/pluginhost"
	"github.com/ampledger/ampledger/daemon/scan"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// Candidate is an estimator that can be started.
type Candidate struct {
	Program  pluginhost.Program
	Settings map[string]any
}

// Observer is a started estimator.
type Observer interface {
	// Observe hands over one summary and waits for the answer. After an error the observer is of no more use.
	Observe(ctx context.Context, summary *plugin.Summary) (*plugin.Answer, error)
	// Snapshot gives the state after the newest summary answered.
	Snapshot(ctx context.Context) ([]byte, error)
	// PID is its process identifier, 0 if it has none.
	PID() int
	// Close ends it and waits.
	Close()
}

// Started is an estimator that has been started.
type Started struct {
	Observer
	Method     string               // its own word on how it finds the offset
	HalfWidths map[string][]float64 // by channel: the play operators it wants, in amperes
	Outputs    []*plugin.Output     // what it derives beside the offsets

	WantsReadings bool // its summaries are to carry the readings
}

// Start starts an estimator for a conductor, with its state from before if any was kept. reached is told that it is Configured, and that it is
// Restoring. pluginhost.ErrState: it does not take that state.
type Start func(ctx context.Context, candidate Candidate, conductor plugin.Conductor, kept pluginhost.Kept, reached func(Step)) (Started, error)

const (
	retainedSummaries = 4096 // that a candidate is warmed up with
	queuedSummaries   = 1024 // that an estimator may be behind before summaries are skipped, counted
)

// item is a summary, the time its estimate will be as of, and where each of its channels stood then; or else it asks for a snapshot.
type item struct {
	keep     *keeping        // nil = it is a summary
	number   uint64          // counts a conductor's summaries, from 1
	summary  *plugin.Summary // without play means, which each estimator gets its own of
	made     scan.Clock
	stands   []stand    // one a channel
	full     *fullRate  // nil = nobody wanted it, or it is not at hand any more
	hearings []*hearing // of those who wait for the answer
	due      bool       // what is said to it is to be recorded
}

// estimation is a conductor's estimator in force, its candidate and what both are fed with. The conductor's lock guards it.
type estimation struct {
	contactor contact
	lockstep  bool
	beginning bool       // the first estimator is still to come
	newest    scan.Clock // time of the newest summary
	number    uint64     // and its number
	recordDue int64      // monotonic time from which a summary is due to be recorded

	generation uint64 // newest given out
	current    *run   // in force; nil = none
	pending    *run   // warming up
	shadows    []shadow
	previous   *retired         // what was in force before
	kept       map[string]*Kept // the newest states that were kept, by the shadow's name; empty = of the one in force
	asked      []*keeping
	retained   []item
	died       chan struct{} // wakes the supervisor, which looks for itself who failed

	swap sync.Mutex // held through a swap; taken before the conductor's lock
}

func (e *estimation) init(config ConductorConfig) {
	e.lockstep, e.beginning = config.Lockstep, config.Expected
	e.died, e.kept = make(chan struct{}, 1), map[string]*Kept{}
}

// observe hands a summary to the estimators.
func (e *estimation) observe(ctx context.Context, next *item) {
	if len(next.summary.GetChannels()) == 0 {
		return
	}
	e.number++
	next.number = e.number
	e.newest = next.made
	if e.lockstep {
		e.answer(ctx, next)
		return
	}
	e.retain(next)
	if e.pending != nil {
		e.pending.offer(*next)
	}
	for _, s := range e.shadows {
		s.offer(*next)
	}
	if e.current != nil && !e.current.offer(*next) {
		next.tell(&plugin.Answer{Notes: []*plugin.Note{{Subject: "summary skipped", Text: "the estimator is too far behind"}}})
	}
}

// answer has a summary answered by the one in force and then by each shadow, in order.
func (e *estimation) answer(ctx context.Context, next *item) {
	if e.current != nil && e.current.answer(ctx, *next) != nil {
		e.wake()
	}
	for _, s := range e.shadows {
		_ = s.answer(ctx, *next) // its failure stands in its status
	}
}

// tell gives the answer to those who wait for it.
func (i *item) tell(answer *plugin.Answer) {
	for _, h := range i.hearings {
		h.hear(i.number, answer)
	}
}

// wake lets the supervisor look whether the estimator in force failed; one call that waits stands for all.
func (e *estimation) wake() {
	select {
	case e.died <- struct{}{}:
	default:
	}
}

// takeEstimates applies what the estimator in force said last.
func (c *Conductor) takeEstimates() {
	if current := c.estimation.current; current != nil {
		newest, covariances := current.take()
		for _, each := range newest {
			if each.lane.offset != nil { // the fused current has none of its own
				each.lane.offset.Take(each.Estimate)
			}
			each.lane.corrected = each.corrected
		}
		if f := c.fused(); f != nil && newest != nil {
			f.learn(covariances)
		}
		for _, note := range current.takeNotes() {
			c.events.note(current.candidate.Program.Name(), note, &c.estimation.newest)
		}
	}
}
