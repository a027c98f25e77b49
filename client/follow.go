package client

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// retryEvery is the pause before a broken stream is opened again.
const retryEvery = 200 * time.Millisecond

// FollowReadings gives each item of a stream of readings to take, in order, until the stream comes to its end (nil), ctx ends, or take
// fails (its error). A stream that breaks is opened again where it stopped: no reading comes twice, and one that the daemon holds no more
// comes as Lost. Only channels of one device can be followed so; for others, or if the daemon refuses, the error says why.
func (c *Client) FollowReadings(ctx context.Context, request *ampledgerv1.StreamReadingsRequest, take func(*ampledgerv1.StreamReadingsResponse) error) error {
	f := &follower{request: proto.CloneOf(request), next: map[string]uint64{}}
	return follow(ctx, func() error {
		stream, err := c.Readings.StreamReadings(ctx, f.resumed())
		return receive(stream, err, func(item *ampledgerv1.StreamReadingsResponse) error {
			if fresh, err := f.pass(item); err != nil || !fresh {
				return err
			}
			return take(item)
		})
	})
}

// FollowEvents gives each change of an event to take, as FollowReadings does. After a break it goes on behind the last RECORDED change.
func (c *Client) FollowEvents(ctx context.Context, request *ampledgerv1.StreamEventsRequest, take func(*ampledgerv1.StreamEventsResponse) error) error {
	next := proto.CloneOf(request)
	return follow(ctx, func() error {
		stream, err := c.Abuse.StreamEvents(ctx, next)
		return receive(stream, err, func(item *ampledgerv1.StreamEventsResponse) error {
			if number := item.GetEvent().GetLogSequence(); number != 0 {
				next.AfterLogSequence = &number
			}
			return take(item)
		})
	})
}

// stopped marks an error of the caller's, which no retry mends.
type stopped struct{ error }

// follow runs attempt again as long as the daemon is only away.
func follow(ctx context.Context, attempt func() error) error {
	for {
		err := attempt()
		var own stopped
		switch {
		case errors.As(err, &own):
			return own.error
		case err == nil || status.Code(err) != codes.Unavailable:
			return err
		}
		timer := time.NewTimer(retryEvery)
		select {
		case <-ctx.Done():
			timer.Stop()
			return status.FromContextError(ctx.Err()).Err()
		case <-timer.C:
		}
	}
}

// receive gives each message of a stream to take.
func receive[T any](stream grpc.ServerStreamingClient[T], err error, take func(*T) error) error {
	for err == nil {
		var item *T
		if item, err = stream.Recv(); err == nil {
			if failed := take(item); failed != nil {
				return stopped{failed}
			}
		}
	}
	if errors.Is(err, io.EOF) {
		return nil
	}
	return err
}

// follower remembers how far each channel has come.
type follower struct {
	request *ampledgerv1.StreamReadingsRequest
	next    map[string]uint64
}

// resumed is the request that goes on where the stream broke.
func (f *follower) resumed() *ampledgerv1.StreamReadingsRequest {
	if len(f.next) == 0 {
		return f.request
	}
	first := ^uint64(0)
	for _, next := range f.next {
		first = min(first, next)
	}
	request := proto.CloneOf(f.request)
	request.FromOldest, request.FromSequence = false, &first
	return request
}

// pass notes an item and tells whether it is new.
func (f *follower) pass(item *ampledgerv1.StreamReadingsResponse) (fresh bool, err error) {
	channel, first, last := spanOf(item)
	next, known := f.next[channel]
	switch {
	case known && last < next:
		return false, nil
	case known && first < next:
		return false, fmt.Errorf("channel %s: readings %d to %d came again in part: %d was due", channel, first, last, next)
	}
	f.next[channel] = last + 1
	return true, nil
}

// spanOf gives what an item is about.
func spanOf(item *ampledgerv1.StreamReadingsResponse) (channel string, first, last uint64) {
	switch it := item.GetItem().(type) {
	case *ampledgerv1.StreamReadingsResponse_Frame:
		f := it.Frame
		return f.GetChannel(), f.GetFirstSequence(), f.GetFirstSequence() + uint64(len(f.GetCurrentAmperes())) - 1
	case *ampledgerv1.StreamReadingsResponse_Bucket:
		return it.Bucket.GetChannel(), it.Bucket.GetFirstSequence(), it.Bucket.GetLastSequence()
	case *ampledgerv1.StreamReadingsResponse_Lost:
		return it.Lost.GetChannel(), it.Lost.GetFirstSequence(), it.Lost.GetLastSequence()
	}
	return "", 0, 0
}
