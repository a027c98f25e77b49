package pipeline

import (
	"context"
	"errors"
	"sync"
)

// errYield says that what was being warmed up for the shadow gave way.
var errYield = errors.New("the estimator in force failed and is being started again: try again when it is")

// gate lets one change of a conductor's estimators through at a time. It is taken before the conductor's lock.
type gate struct {
	held chan struct{} // holds a token while somebody has it

	mu    sync.Mutex
	yield context.CancelCauseFunc // of who has it and can give way; nil = nobody
}

func newGate() *gate { return &gate{held: make(chan struct{}, 1)} }

// try takes it if it is free.
func (g *gate) try() bool {
	select {
	case g.held <- struct{}{}:
		return true
	default:
		return false
	}
}

// lock waits for it, and has whoever can give way do so.
func (g *gate) lock() {
	g.mu.Lock()
	if g.yield != nil {
		g.yield(errYield)
	}
	g.mu.Unlock()
	g.held <- struct{}{}
}

// wait waits for it until ctx ends.
func (g *gate) wait(ctx context.Context) error {
	select {
	case g.held <- struct{}{}:
		return nil
	case <-ctx.Done():
		return context.Cause(ctx)
	}
}

// unlock gives it back.
func (g *gate) unlock() { <-g.held }

// yielding gives a context for work that gives way to who locks the gate meanwhile; done ends that.
func (g *gate) yielding(ctx context.Context) (working context.Context, done func()) {
	working, cancel := context.WithCancelCause(ctx)
	g.mu.Lock()
	defer g.mu.Unlock()
	g.yield = cancel
	return working, func() {
		g.mu.Lock()
		defer g.mu.Unlock()
		g.yield = nil
		cancel(nil)
	}
}
