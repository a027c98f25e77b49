package store

import (
	"context"
	"time"

	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// Appender is what a Recorder writes to: a Store.
type Appender interface {
	// Append stores all of a batch durably or nothing.
	Append(ctx context.Context, batch Batch) (Positions, error)
}

// RecorderConfig bounds a Recorder. What is 0 or less takes its default. The functions may be nil. They must not block and must not
// call Flush; Post, Tell and Hold they may call.
type RecorderConfig struct {
	QueueRows   int // entries and gaps that may wait; default 8192. A posting of more is taken when no other waits
	QueueEvents int // events that may wait; default 4096
	BatchRows   int // rows in one transaction, more only if a single posting has more; default 1024

	FirstRetry time.Duration // wait after a first failure, doubled after each further one; default 50 ms
	MaxRetry   time.Duration // longest wait; default 5 s, and not less than FirstRetry
	Drain      time.Duration // how long Run goes on writing once its context is done; default 10 s

	OnPosted     func(newestEntrySequence uint64)          // on Run: entries up to this one are now durable
	OnRecorded   func(events []*ampledgerv1.Event)         // on Run: events that are now durable, with their log sequences, in order
	OnUnrecorded func(event *ampledgerv1.Event, why error) // on Tell or Run: an event that will not be recorded
	OnFault      func(err error)                           // on Run or Post: a write that failed, a posting that can never be stored
}

// withDefaults fills in what is not set.
func (c RecorderConfig) withDefaults() RecorderConfig {
	orDefault(&c.QueueRows, 8192)
	orDefault(&c.QueueEvents, 4096)
	orDefault(&c.BatchRows, 1024)
	orDefault(&c.FirstRetry, 50*time.Millisecond)
	orDefault(&c.MaxRetry, 5*time.Second)
	orDefault(&c.Drain, 10*time.Second)
	c.MaxRetry = max(c.MaxRetry, c.FirstRetry)
	if c.OnPosted == nil {
		c.OnPosted = func(uint64) {}
	}
	if c.OnRecorded == nil {
		c.OnRecorded = func([]*ampledgerv1.Event) {}
	}
	if c.OnUnrecorded == nil {
		c.OnUnrecorded = func(*ampledgerv1.Event, error) {}
	}
	if c.OnFault == nil {
		c.OnFault = func(error) {}
	}
	return c
}

func orDefault[N int | time.Duration](value *N, otherwise N) {
	if *value <= 0 {
		*value = otherwise
	}
}
