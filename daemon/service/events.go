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

// ear is one subscriber's queue.
type ear struct {
	conductor string // empty = all
	woken     chan struct{}

	// Guarded by Events.mu.
	queue []*ampledgerv1.StreamEventsResponse
	lost  uint64 // since the newest in the queue
}

// NewEvents makes an Events without subscribers.
func NewEvents() *Events { return &Events{} }

// Raised tells a change that may not be on disk yet. It does not wait. It must have returned before the change can be recorded.
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
			ear.offer(&ampledgerv1.StreamEventsResponse{Delivery: delivery, Event: event})
		}
	}
}

// offer queues a change, or counts it as lost for the next message to say so.
func (e *ear) offer(response *ampledgerv1.StreamEventsResponse) {
	if len(e.queue) >= eventQueue {
		e.lost++
		return
	}
	response.LostCount, e.lost = e.lost, 0
	e.queue = append(e.queue, response)
	e.wake()
}

func (e *ear) wake() {
	select {
	case e.woken <- struct{}{}:
	default:
	}
}

// take gives what a subscriber that has the log up to a sequence is to be sent next. If changes were lost and none came since, a message
// without an event says so. open = false: nothing more comes.
func (e *Events) take(ear *ear, sent uint64) (changes []*ampledgerv1.StreamEventsResponse, open bool) {
	e.mu.Lock()
	defer e.mu.Unlock()
	ear.leaveOut(func(c *ampledgerv1.StreamEventsResponse) bool {
		number := c.GetEvent().GetLogSequence()
		return number != 0 && number <= sent
	})
	changes, ear.queue = ear.queue, nil
	if len(changes) == 0 && ear.lost > 0 {
		changes = append(changes, &ampledgerv1.StreamEventsResponse{LostCount: ear.lost})
		ear.lost = 0
	}
	return changes, !e.closed
}

// overtaken takes a change out of a subscriber's queue that it gets as RECORDED from the log before it got it as RAISED.
func (e *Events) overtaken(ear *ear, event *ampledgerv1.Event) {
	e.mu.Lock()
	defer e.mu.Unlock()
	ear.leaveOut(func(c *ampledgerv1.StreamEventsResponse) bool {
		return c.GetEvent().GetEventId() == event.GetEventId() && c.GetEvent().GetState() == event.GetState()
	})
}

// leaveOut takes changes out of the queue; what they say of lost ones, the next message says.
func (e *ear) leaveOut(unwanted func(*ampledgerv1.StreamEventsResponse) bool) {
	lost := uint64(0)
	e.queue = slices.DeleteFunc(e.queue, func(c *ampledgerv1.StreamEventsResponse) bool {
		lost += c.GetLostCount()
		if unwanted(c) {
			return true
		}
		c.LostCount, lost = lost, 0
		return false
	})
	e.lost += lost
}

func (e *Events) subscribe(conductor string) *ear {
	e.mu.Lock()
	defer e.mu.Unlock()
	ear := &ear{conductor: conductor, woken: make(chan struct{}, 1)}
	e.ears = append(e.ears, ear)
	return ear
}

func (e *Events) unsubscribe(gone *ear) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.ears = slices.DeleteFunc(e.ears, func(other *ear) bool { return other == gone })
}

// Close says that the daemon stops: the subscribers' streams end after what is queued with UNAVAILABLE, so that they come back.
func (e *Events) Close() {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.closed = true
	for _, ear := range e.ears {
		ear.wake()
	}
}
