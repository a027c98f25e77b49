package service

import (
	"context"
	"testing"
	"testing/synctest"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// silent is the stream of a rig that says nothing.
type silent struct {
	feedStream
	ctx context.Context
}

// Context implements grpc.ServerStream.
func (s silent) Context() context.Context { return s.ctx }

// Recv implements grpc.BidiStreamingServer.
func (s silent) Recv() (*ampledgerv1.FeedRequest, error) {
	<-s.ctx.Done()
	return nil, status.FromContextError(s.ctx.Err()).Err()
}

// TestARigThatSaysNothing is not waited for without end, and once the server has ended nobody is.
func TestARigThatSaysNothing(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := &feedServer{backend: &Backend{}}
		ctx, end := context.WithCancel(t.Context())
		if err := s.Feed(silent{ctx: ctx}); status.Code(err) != codes.DeadlineExceeded {
			t.Errorf("it was told %v", err)
		}
		end()
		s.wait()
		if err := s.Feed(silent{ctx: ctx}); status.Code(err) != codes.Unavailable {
			t.Errorf("after the end it was told %v", err)
		}
	})
}
