package rig

import (
	"context"
	"fmt"
	"sync"

	"github.com/ampledger/ampledger/daemon/pipeline"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// Source is a device that a rig feeds.
type Source struct {
	device      string
	lockstep    bool
	description *plugin.Description
	fault       error // what is wrong with the settings

	handings chan *handing // to the device, which takes them one by one
	breaks   chan error    // why a rig broke off; with room for the newest
	stopping chan struct{}
	stop     sync.Once
	tried    chan struct{} // closed when it was tried to open the device
	once     sync.Once

	mu      sync.Mutex
	isOpen  bool
	seat    *Seat  // nil = no rig is there
	session string // of who came last; empty = nobody did
	begun   bool   // a frame of it was taken
	next    uint64 // the rig's sequence that is expected in it then
}

var (
	_ pipeline.Source = (*Source)(nil)
	_ pipeline.Idler  = (*Source)(nil)
)

// New makes the source of a device from what stands under `with:`. Settings that are wrong show when the device is opened.
func New(device string, with map[string]any) *Source {
	s := &Source{device: device, handings: make(chan *handing), breaks: make(chan error, 1), stopping: make(chan struct{}), tried: make(chan struct{})}
	read, err := read(with)
	s.lockstep = read.Mode == lockstep
	if s.fault = err; err == nil {
		s.description, s.fault = read.describe()
	}
	if s.fault != nil {
		s.fault = fmt.Errorf("driver feed: %w", s.fault)
	}
	return s
}

// Device is the device's name.
func (s *Source) Device() string { return s.device }

// Lockstep tells that the rig waits for what follows from each frame.
func (s *Source) Lockstep() bool { return s.lockstep }

// Describe implements pipeline.Source.
func (s *Source) Describe() (*plugin.Description, error) { return s.description, s.fault }

// Frames implements pipeline.Source.
func (s *Source) Frames(ctx context.Context) (pipeline.Frames, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.isOpen = true
	s.once.Do(func() { close(s.tried) })
	return &stream{ctx: ctx, source: s}, nil
}

// Close implements pipeline.Source. The device may be opened again.
func (s *Source) Close() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.isOpen = false
	s.once.Do(func() { close(s.tried) })
}

// Idle implements pipeline.Idler.
func (s *Source) Idle() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.seat == nil {
		return "no rig feeds it"
	}
	return ""
}

// Stop says that the device will take no more frames: every Seat gives ErrStopping.
func (s *Source) Stop() { s.stop.Do(func() { close(s.stopping) }) }

// Stopping is closed by Stop.
func (s *Source) Stopping() <-chan struct{} { return s.stopping }

func (s *Source) isStopping() bool {
	select {
	case <-s.stopping:
		return true
	default:
		return false
	}
}
