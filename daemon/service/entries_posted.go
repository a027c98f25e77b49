package service

import "sync"

// Posted tells who follows the ledger that there is more of it. It carries no entries: they are durable, so each follower reads them from
// the store at its own pace, and none is lost or comes twice. Safe for concurrent use.
type Posted struct {
	mu      sync.Mutex
	changed chan struct{} // closed and replaced when there is more, closed when closed
	closed  bool
}

// NewPosted makes a Posted that nobody follows.
func NewPosted() *Posted { return &Posted{changed: make(chan struct{})} }

// Tell says that entries up to a sequence are durable, as store.RecorderConfig.OnPosted does. It does not wait.
func (p *Posted) Tell(uint64) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if !p.closed {
		close(p.changed)
		p.changed = make(chan struct{})
	}
}

// Close says that the daemon stops: the followers' streams end after what is durable with UNAVAILABLE, so that they come back.
func (p *Posted) Close() {
	p.mu.Lock()
	defer p.mu.Unlock()
	if !p.closed {
		p.closed = true
		close(p.changed)
	}
}

// watch gives a channel that closes when there is more than now; open = false: nothing more comes.
func (p *Posted) watch() (changed <-chan struct{}, open bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.changed, !p.closed
}
