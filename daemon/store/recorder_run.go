package store

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"
)

// Run writes what is queued until ctx ends; then it takes nothing more in, goes on with what is queued for at most Drain, and returns.
// End ctx after the last Post. A failed write is tried again, with growing waits, for as long as that. Nil: everything that was taken
// in is durable. ErrNotDrained: some is not; how much is in the message, the events are counted as unrecorded. ErrEnded: it ran before.
func (r *Recorder) Run(ctx context.Context) error {
	if !r.start() {
		return fmt.Errorf("store recorder: run: %w", ErrEnded)
	}
	work, cancel := drainable(ctx, r.config.Drain)
	defer cancel()
	wait := r.config.FirstRetry
	for {
		ending := ctx.Err() != nil
		if ending {
			r.stopTaking()
		}
		next, ok := r.next()
		switch {
		case !ok && ending:
			return r.end()
		case !ok:
			r.sleep(ctx)
		case r.write(work, &next) == nil:
			wait = r.config.FirstRetry
		case work.Err() != nil:
			return r.end()
		case ending:
			wait = r.pause(work, wait)
		default:
			wait = r.pause(ctx, wait)
		}
	}
}

// drainable gives a context that ends some time after ctx.
func drainable(ctx context.Context, drain time.Duration) (work context.Context, cancel func()) {
	work, end := context.WithCancelCause(context.WithoutCancel(ctx))
	timer := time.AfterFunc(math.MaxInt64, func() { end(context.DeadlineExceeded) }) // never, until ctx ends
	stop := context.AfterFunc(ctx, func() { timer.Reset(drain) })
	return work, func() {
		stop()
		timer.Stop()
		end(nil)
	}
}

// pause waits before the next attempt and gives the wait after that; if ctx ends meanwhile, the waits begin anew.
func (r *Recorder) pause(ctx context.Context, wait time.Duration) time.Duration {
	timer := time.NewTimer(wait)
	defer timer.Stop()
	select {
	case <-timer.C:
		return min(2*wait, r.config.MaxRetry)
	case <-ctx.Done():
		return r.config.FirstRetry
	}
}

// sleep waits for something to do.
func (r *Recorder) sleep(ctx context.Context) {
	select {
	case <-r.wake:
	case <-ctx.Done():
	}
}

// write stores a round and tells of it.
func (r *Recorder) write(ctx context.Context, next *round) error {
	at, err := r.to.Append(ctx, next.batch)
	if err != nil {
		err = fmt.Errorf("store recorder: %w", err)
		r.mutex.Lock()
		r.failing = err
		r.mutex.Unlock()
		r.config.OnFault(err)
		return err
	}
	r.written(next)
	for i, sequence := range at.Events {
		next.batch.Events[i].LogSequence = sequence // out of the queue by now, so nobody else's
	}
	if posted := len(at.Entries); posted > 0 {
		r.config.OnPosted(at.Entries[posted-1])
	}
	if len(next.batch.Events) > 0 {
		r.config.OnRecorded(next.batch.Events)
	}
	r.mutex.Lock()
	defer r.mutex.Unlock()
	r.durable = next.through
	r.announce()
	return nil
}

// written takes a durable round out of the queue.
func (r *Recorder) written(done *round) {
	r.mutex.Lock()
	defer r.mutex.Unlock()
	r.failing = nil
	r.queue.drop(done)
	for _, hold := range done.batch.Holds {
		r.held[hold.Device] = max(r.held[hold.Device], hold.Through)
	}
}

// next gives what is to be written; false = nothing.
func (r *Recorder) next() (round, bool) {
	r.mutex.Lock()
	defer r.mutex.Unlock()
	return r.queue.front(r.config.BatchRows), !r.queue.empty()
}

func (r *Recorder) start() bool {
	r.mutex.Lock()
	defer r.mutex.Unlock()
	first := !r.started
	r.started = true
	return first
}

func (r *Recorder) stopTaking() {
	r.mutex.Lock()
	defer r.mutex.Unlock()
	r.closed = true
}

// announce wakes who waits for progress. The mutex is held.
func (r *Recorder) announce() {
	close(r.progress)
	r.progress = make(chan struct{})
}

// end says what was left.
func (r *Recorder) end() error {
	left, failing := r.settle()
	postings, events := 0, 0
	for _, item := range left {
		if item.posting != nil {
			postings++
			continue
		}
		events++
		r.config.OnUnrecorded(item.event, fmt.Errorf("store recorder: %w", ErrNotDrained))
	}
	if failing == nil {
		return nil
	}
	return fmt.Errorf("store recorder: %w: %d entries, %d events: %w", ErrNotDrained, postings, events, failing)
}

// settle closes the books: it takes out what is left and gives the reason, nil if nothing is.
func (r *Recorder) settle() (left []item, failing error) {
	r.mutex.Lock()
	defer r.mutex.Unlock()
	if !r.queue.empty() {
		failing = errors.Join(r.failing, context.DeadlineExceeded)
	}
	left, r.queue.items = r.queue.items, nil
	for _, item := range left {
		if item.event != nil {
			r.unrecorded++
		}
	}
	r.closed, r.ended = true, true
	r.announce()
	return left, failing
}
