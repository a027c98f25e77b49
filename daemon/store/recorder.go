package store

import (
	"context"
	"errors"
	"fmt"
	"sync"

	"google.golang.org/protobuf/proto"

	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// Recorder writes to a store behind the data path's back: Post, Tell and Hold queue and never wait; Run, which the caller starts once,
// writes what is queued, a transaction a round. Order is kept among entries and among events. Everything may be called concurrently.
type Recorder struct {
	to     Appender
	config RecorderConfig
	wake   chan struct{} // holds one token while the queue may have something

	mutex      sync.Mutex // guards what follows; never held while writing or in a callback
	queue      queue
	started    bool
	closed     bool          // nothing more is taken in
	ended      bool          // Run has returned or is about to
	durable    uint64        // the ticket up to which everything is durable
	progress   chan struct{} // closed and replaced when durable or ended changes
	held       map[string]uint64
	failing    error // the newest write failed; nil = it went well
	refused    error // the newest posting that can never be stored
	unrecorded uint64
}

// NewRecorder makes a recorder. It starts nothing.
func NewRecorder(to Appender, config RecorderConfig) *Recorder {
	return &Recorder{
		to: to, config: config.withDefaults(), wake: make(chan struct{}, 1), progress: make(chan struct{}), held: map[string]uint64{},
	}
}

// Post queues an entry with details of its gaps, which the caller gives away. Nothing is durable on return. False: it was not taken and
// the caller keeps it, to post it later as part of a larger entry. That happens when the queue is full or Run is ending, and to what
// could never be stored, which is a fault of the program and stays in Health.
func (r *Recorder) Post(entry Entry, gaps []Gap) bool {
	posting := &Posting{entry, gaps}
	if err := posting.validate(); err != nil {
		r.refuse(fmt.Errorf("store recorder: post: %w: %w", ErrInvalid, err))
		return false
	}
	r.mutex.Lock()
	defer r.mutex.Unlock()
	if r.closed || !r.queue.post(posting, r.config.QueueRows) {
		return false
	}
	r.nudge()
	return true
}

// Tell queues a change of an event; its log sequence must be 0. The event is copied. Nothing is durable on return: OnRecorded tells when
// it is. An event that cannot be taken is counted, and given to OnUnrecorded with the reason.
func (r *Recorder) Tell(event *ampledgerv1.Event) {
	if err := r.tell(event); err != nil {
		r.config.OnUnrecorded(event, err)
	}
}

func (r *Recorder) tell(event *ampledgerv1.Event) error {
	fault := validateEvent(event)
	copied := proto.CloneOf(event)
	r.mutex.Lock()
	defer r.mutex.Unlock()
	switch {
	case fault != nil:
		fault = fmt.Errorf("%w: %w", ErrInvalid, fault)
	case r.closed:
		fault = ErrEnded
	case !r.queue.tell(copied, r.config.QueueEvents):
		fault = ErrQueueFull
	default:
		r.nudge()
		return nil
	}
	r.unrecorded++
	return fmt.Errorf("store recorder: tell: %w", fault)
}

// Hold asks for a device's sequences up to and including through to be held. Held tells when that is durable, and only then may
// they be used. It is always taken: of each device only the highest waits.
func (r *Recorder) Hold(device string, through uint64) {
	if err := (Hold{device, through}).validate(); err != nil {
		r.refuse(fmt.Errorf("store recorder: hold: %w: %w", ErrInvalid, err))
		return
	}
	r.mutex.Lock()
	defer r.mutex.Unlock()
	if !r.closed {
		r.queue.hold(device, through)
		r.nudge()
	}
}

// Held gives the sequence up to and including which a device is held durably by this recorder; false = none yet.
func (r *Recorder) Held(device string) (through uint64, ok bool) {
	r.mutex.Lock()
	defer r.mutex.Unlock()
	through, ok = r.held[device]
	return through, ok
}

// Unrecorded counts the events that were not and will not be recorded.
func (r *Recorder) Unrecorded() uint64 {
	r.mutex.Lock()
	defer r.mutex.Unlock()
	return r.unrecorded
}

// Health is nil while writing works. A failed write shows until the next one succeeds, a posting that could not be stored for ever.
func (r *Recorder) Health() error {
	r.mutex.Lock()
	defer r.mutex.Unlock()
	return errors.Join(r.refused, r.failing)
}

// Flush waits until everything that was taken in before is durable and OnPosted and OnRecorded have returned for it. It needs Run to be running.
// ErrEnded: Run ended without it. If ctx ends first, the error says why, and what is the matter with the disk; what was queued stays queued.
func (r *Recorder) Flush(ctx context.Context) error {
	r.mutex.Lock()
	target := r.queue.newest
	r.mutex.Unlock()
	for {
		r.mutex.Lock()
		done, ended, progress := r.durable >= target, r.ended, r.progress
		r.mutex.Unlock()
		switch {
		case done:
			return nil
		case ended:
			return fmt.Errorf("store recorder: flush: %w", ErrEnded)
		}
		select {
		case <-progress:
		case <-ctx.Done():
			return fmt.Errorf("store recorder: flush: %w", errors.Join(context.Cause(ctx), r.Health()))
		}
	}
}

// refuse notes what can never be stored.
func (r *Recorder) refuse(err error) {
	r.mutex.Lock()
	r.refused = err
	r.mutex.Unlock()
	r.config.OnFault(err)
}

// nudge wakes Run.
func (r *Recorder) nudge() {
	select {
	case r.wake <- struct{}{}:
	default:
	}
}
