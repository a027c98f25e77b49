package service

import (
	"context"
	"sync"

	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// mailboxes are the goroutines that receive for the rigs' streams: what waits for a message of gRPC cannot be woken for anything else. Each ends with its
// stream, which ends when its call returns; wait waits for all of them.
type mailboxes struct {
	mu      sync.Mutex
	ended   bool
	working sync.WaitGroup
}

// mailbox holds a stream's messages, one ahead.
type mailbox struct{ messages chan message }

type message struct {
	request *ampledgerv1.FeedRequest
	err     error
}

// receive begins to receive a stream's messages.
func (b *mailboxes) receive(stream feedStream) (*mailbox, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.ended {
		return nil, errStopping
	}
	in := &mailbox{make(chan message)}
	b.working.Go(func() { in.fill(stream) })
	return in, nil
}

// wait lets no more begin and waits for those that work.
func (b *mailboxes) wait() {
	b.mu.Lock()
	b.ended = true
	b.mu.Unlock()
	b.working.Wait()
}

// fill receives until the stream ends.
func (m *mailbox) fill(stream feedStream) {
	for {
		request, err := stream.Recv()
		select {
		case m.messages <- message{request, err}:
		case <-stream.Context().Done():
			return
		}
		if err != nil {
			return
		}
	}
}

// next gives the next message, io.EOF when the rig is done, or errStopping when stopping is closed; nil = it never is.
func (m *mailbox) next(ctx context.Context, stopping <-chan struct{}) (*ampledgerv1.FeedRequest, error) {
	select {
	case next := <-m.messages:
		return next.request, next.err
	case <-stopping:
		return nil, errStopping
	case <-ctx.Done():
		return nil, statusOf(ctx.Err())
	}
}
