package service

import (
	"slices"
	"sync"

	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// estimateQueue is how many records a subscriber may be behind.
const estimateQueue = 1024

// Estimates hands what estimators say to subscribers.
type Estimates struct {
	mu        sync.Mutex
	listeners []*listener
	closed    bool
}

// listener is one subscriber's queue.
type listener struct {
	conductor string
	woken     chan struct{}

	// Guarded by Estimates.mu.
	queue []*ampledgerv1.EstimateRecord
	lost  uint64 // since the newest in the queue
}

// NewEstimates makes an Estimates without subscribers.
func NewEstimates() *Estimates { return &Estimates{} }

// Tell hands a record on. It does not wait; the record must not be changed any more.
func (e *Estimates) Tell(record *ampledgerv1.EstimateRecord) {
	e.mu.Lock()
	defer e.mu.Unlock()
	for _, l := range e.listeners {
		if l.conductor != record.GetConductor() {
			continue
		}
		if len(l.queue) >= estimateQueue {
			l.lost++
			continue
		}
		l.queue = append(l.queue, record)
		l.wake()
	}
}

func (l *listener) wake() {
	select {
	case l.woken <- struct{}{}:
	default:
	}
}

func (e *Estimates) subscribe(conductor string) *listener {
	e.mu.Lock()
	defer e.mu.Unlock()
	l := &listener{conductor: conductor, woken: make(chan struct{}, 1)}
	e.listeners = append(e.listeners, l)
	return l
}

func (e *Estimates) unsubscribe(gone *listener) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.listeners = slices.DeleteFunc(e.listeners, func(other *listener) bool { return other == gone })
}

// take gives what a subscriber is to be sent next, and how many records were left out behind it. open = false: nothing more comes.
func (e *Estimates) take(l *listener) (records []*ampledgerv1.EstimateRecord, lost uint64, open bool) {
	e.mu.Lock()
	defer e.mu.Unlock()
	records, lost = l.queue, l.lost
	l.queue, l.lost = nil, 0
	return records, lost, !e.closed
}

// Close says that the daemon stops: the subscribers' streams end after what is queued with UNAVAILABLE, so that they come back.
func (e *Estimates) Close() {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.closed = true
	for _, l := range e.listeners {
		l.wake()
	}
}
