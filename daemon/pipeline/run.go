package pipeline

import (
	"context"
	"sync"

	"github.com/ampledger/ampledger/daemon/offset"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// run is one estimator process at work. Its lock is a leaf: it may be taken under the conductor's.
type run struct {
	candidate  Candidate
	method     string
	generation uint64
	observer   Observer
	end        context.CancelFunc // of its goroutine
	ended      chan struct{}      // closed when its goroutine has ended
	answered   chan struct{}      // closed at its first answer
	failed     chan struct{}      // closed when it failed

	mu      sync.Mutex
	backlog []item // to be worked off before the queue
	queue   chan item
	newest  map[string]offset.Estimate
	fresh   bool // newest has something that was not taken yet
	skipped uint64
	fault   error
}

func newRun(candidate Candidate, generation uint64, observer Observer, method string, backlog []item) *run {
	return &run{
		candidate: candidate, method: method, generation: generation, observer: observer, backlog: backlog,
		queue: make(chan item, queuedSummaries), newest: map[string]offset.Estimate{},
		ended: make(chan struct{}), answered: make(chan struct{}), failed: make(chan struct{}), end: func() {},
	}
}

// offer queues a summary; if the estimator is too far behind it is skipped and counted.
func (r *run) offer(next item) {
	select {
	case r.queue <- next:
	default:
		r.mu.Lock()
		r.skipped++
		r.mu.Unlock()
	}
}

// work answers summaries until ctx ends or the estimator fails.
func (r *run) work(ctx context.Context) error {
	for _, next := range r.backlog {
		if err := r.answer(ctx, next); err != nil {
			return err
		}
	}
	r.backlog = nil
	for {
		select {
		case <-ctx.Done():
			return nil
		case next := <-r.queue:
			if err := r.answer(ctx, next); err != nil {
				return err
			}
		}
	}
}

// answer gets one summary answered and keeps the estimates. An error is final, unless ctx ended.
func (r *run) answer(ctx context.Context, next item) error {
	if fault := r.failure(); fault != nil {
		return fault
	}
	estimates, err := r.observer.Observe(ctx, next.summary)
	if err != nil {
		if ctx.Err() == nil {
			r.fail(err)
		}
		return err
	}
	r.keep(estimates, next)
	return nil
}

func (r *run) keep(estimates []*plugin.ChannelEstimate, next item) {
	r.mu.Lock()
	defer r.mu.Unlock()
	for _, e := range estimates {
		r.newest[e.GetName()] = offset.Estimate{
			Amperes: e.GetOffsetAmperes(), Uncertainty: e.GetStandardUncertaintyAmperes(), WalkPerRootSecond: e.GetWalkAmperesPerRootSecond(),
			Made: next.made, Estimator: r.candidate.Program.Name(), Generation: r.generation,
		}
	}
	r.fresh = true
	select {
	case <-r.answered:
	default:
		close(r.answered)
	}
}

// take gives each estimate that was not taken yet.
func (r *run) take(to func(channel string, e offset.Estimate)) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if !r.fresh {
		return
	}
	r.fresh = false
	for channel, e := range r.newest {
		to(channel, e)
	}
}

func (r *run) fail(err error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.fault == nil {
		r.fault = err
		close(r.failed)
	}
}

func (r *run) failure() error {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.fault
}

// close ends the goroutine and the process and waits for both.
func (r *run) close() {
	r.end()
	<-r.ended
	if r.observer != nil {
		r.observer.Close()
	}
}
