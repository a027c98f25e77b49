package store_test

import (
	"context"
	"errors"
	"sync"
	"testing"
	"time"

	"github.com/ampledger/ampledger/daemon/store"
	"github.com/ampledger/ampledger/daemon/store/storetest"
)

// disk stands before a store and fails or hangs on request.
type disk struct {
	to    store.Appender
	mutex sync.Mutex
	fault error           // errDisk: Append fails; nil = it works
	every int             // if above 0, only each so-many-th try works
	hang  bool            // Append waits for its context
	tries []time.Duration // when Append was called, since begin
	begin time.Time
	sizes [][3]int // postings, events, holds of each batch that was stored
}

var errDisk = errors.New("disk on fire")

func newDisk(t *testing.T) *disk { return &disk{to: storetest.OpenMemory(t), begin: time.Now()} }

// Append passes on, fails or hangs.
func (d *disk) Append(ctx context.Context, batch store.Batch) (store.Positions, error) {
	d.mutex.Lock()
	defer d.mutex.Unlock()
	d.tries = append(d.tries, time.Since(d.begin))
	if d.hang {
		d.mutex.Unlock()
		<-ctx.Done()
		d.mutex.Lock()
		return store.Positions{}, context.Cause(ctx)
	}
	if d.fault != nil || d.every > 0 && len(d.tries)%d.every != 0 {
		return store.Positions{}, errDisk
	}
	d.sizes = append(d.sizes, [3]int{len(batch.Postings), len(batch.Events), len(batch.Holds)})
	return d.to.Append(ctx, batch)
}

func (d *disk) set(fault error, hang bool) {
	d.mutex.Lock()
	defer d.mutex.Unlock()
	d.fault, d.hang = fault, hang
}
