package service

import (
	"sync"

	"google.golang.org/protobuf/proto"

	"github.com/ampledger/ampledger/daemon/pipeline"
	"github.com/ampledger/ampledger/daemon/scan"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// Aftermath gathers what follows from one frame of a rig in lockstep. The conductors' sink tells it, under their locks; between frames, what is
// told is left to the other services. Its methods are safe for concurrent use, and do nothing on nil.
type Aftermath struct {
	mu     sync.Mutex
	open   bool
	frames []*ampledgerv1.Frame
	events []*ampledgerv1.Event
}

// Readings takes one channel's readings of one span.
func (a *Aftermath) Readings(lane *pipeline.Lane, r *scan.Readings) {
	if a == nil {
		return
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.open {
		a.frames = append(a.frames, frameFollowing(lane, r))
	}
}

// frameFollowing copies readings into a message of their own.
func frameFollowing(lane *pipeline.Lane, r *scan.Readings) *ampledgerv1.Frame {
	var e encoder
	e.fill(lane, r)
	return proto.CloneOf(&e.frame)
}

// Event takes one change of an event.
func (a *Aftermath) Event(event *ampledgerv1.Event) {
	if a == nil {
		return
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.open {
		a.events = append(a.events, proto.CloneOf(event))
	}
}

// begin gathers from here on.
func (a *Aftermath) begin() {
	if a == nil {
		return
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	a.open, a.frames, a.events = true, nil, nil
}

// end gives what was gathered and gathers no more.
func (a *Aftermath) end() (frames []*ampledgerv1.Frame, events []*ampledgerv1.Event) {
	if a == nil {
		return nil, nil
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	frames, events = a.frames, a.events
	a.open, a.frames, a.events = false, nil, nil
	return frames, events
}
