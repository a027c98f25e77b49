package service

import (
	"slices"
	"sync"

	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// eventQueue is how many changes a subscriber may be behind.
const eventQueue = 1024

// Events hands changes of events to their subscribers.
type Events struct {
	mu     sync.Mutex
	ears   []*ear
	closed bool
}

// ear is one subscriber's queue. It is closed by Events.Close.
type ear struct {
	conductor string // empty = all
	queue     chan *ampledgerv1.StreamEventsResponse
	lost      uint64 // guarded by Events.mu
}

// NewEvents makes an Events without subscribers.
func NewEvents() *Events { return &Events{} }

// Raised tells a change that may not be on disk yet. It does not wait.
func (e *Events) Raised(event *ampledgerv1.Event) {
	e.tell(ampledgerv1.Delivery_DELIVERY_RAISED, event)
}

// Recorded tells a change that is on disk, in the order of the log. It does not wait.
func (e *Events) Recorded(event *ampledgerv1.Event) {
	e.tell(ampledgerv1.Delivery_DELIVERY_RECORDED, event)
}

func (e *Events) tell(delivery ampledgerv1.Delivery, event *ampledgerv1.Event) {
	e.mu.Lock()
	defer e.mu.Unlock()
	for _, ear := range e.ears {
		if ear.conductor == "" || ear.conductor == event.GetConductor() {
			ear.offer(&ampledgerv1.StreamEventsResponse{Delivery: delivery, Event: event, LostCount: ear.lost})
		}
	}
}

// offer queues a change, or counts it as lost for the next one to say so.
func (e *ear) offer(response *ampledgerv1.StreamEventsResponse) {
	select {
	case e.queue <- response:
		e.lost = 0
	default:
		e.lost++
	}
}

func (e *Events) subscribe(conductor string) *ear {
	e.mu.Lock()
	defer e.mu.Unlock()
	ear := &ear{conductor: conductor, queue: make(chan *ampledgerv1.StreamEventsResponse, eventQueue)}
	if e.closed {
		close(ear.queue)
		return ear
	}
	e.ears = append(e.ears, ear)
	return ear
}

func (e *Events) unsubscribe(gone *ear) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.ears = slices.DeleteFunc(e.ears, func(other *ear) bool { return other == gone })
}

// Close ends the subscribers' streams after what is queued.
func (e *Events) Close() {
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.closed {
		return
	}
	e.closed = true
	for _, ear := range e.ears {
		close(ear.queue)
	}
	e.ears = nil
}
