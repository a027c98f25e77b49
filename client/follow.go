package client

import (
	"context"
	"errors"
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

// FollowReadings gives each item of a stream of readings to take, in order, until the conductor's devices have come to their end (nil),
// ctx ends, take fails (its error) or the daemon refuses. A daemon that is away is waited for, and a stream that breaks is opened again
// where it stopped: no reading comes twice, and one that the daemon holds no more comes as Lost. A stream that broke before its first
// item begins as it did at first.
//
// Only channels of one device can be followed over a break; for others the daemon refuses.
func (c *Client) FollowReadings(ctx context.Context, request *ampledgerv1.StreamReadingsRequest, take func(*ampledgerv1.StreamReadingsResponse) error) error {
	f := &follower{client: c, request: proto.CloneOf(request), channels: request.GetChannels(), next: map[string]uint64{}}
	return c.follow(ctx, func(ctx context.Context, here func()) error {
		resumed, err := f.resumed(ctx)
		if err != nil {
			return err
		}
		stream, err := c.Readings.StreamReadings(ctx, resumed)
		return receive(stream, err, here, func(item *ampledgerv1.StreamReadingsResponse) error {
			if item = f.rest(item); item == nil {
				return nil
			}
			return take(item)
		})
	})
}

// FollowEvents gives each change of an event to take, as FollowReadings does. After a break it goes on behind the last RECORDED change; a
// stream that begins live and broke before there was one begins live again.
func (c *Client) FollowEvents(ctx context.Context, request *ampledgerv1.StreamEventsRequest, take func(*ampledgerv1.StreamEventsResponse) error) error {
	next := proto.CloneOf(request)
	return c.follow(ctx, func(ctx context.Context, here func()) error {
		stream, err := c.Abuse.StreamEvents(ctx, next)
		return receive(stream, err, here, func(item *ampledgerv1.StreamEventsResponse) error {
			if number := item.GetEvent().GetLogSequence(); number != 0 {
				next.AfterLogSequence = &number
			}
			return take(item)
		})
	})
}

// FollowEstimates gives each record of what a conductor's estimators say to take, as FollowReadings does. After a break it goes on with what was
// recorded meanwhile, which is one summary in a while, and then with each. A request with an end is asked once and not again.
func (c *Client) FollowEstimates(ctx context.Context, request *ampledgerv1.StreamEstimatesRequest, take func(*ampledgerv1.StreamEstimatesResponse) error) error {
	next, newest := proto.CloneOf(request), map[saidKey]bool{}
	return c.follow(ctx, func(ctx context.Context, here func()) error {
		stream, err := c.Estimators.StreamEstimates(ctx, next)
		return receive(stream, err, here, func(item *ampledgerv1.StreamEstimatesResponse) error {
			if r := item.GetRecord(); r != nil {
				key := saidKey{r.GetShadow(), r.GetDevice(), r.GetThroughSequence()}
				if newest[key] {
					return nil
				}
				if wall := r.GetWallNanos(); next.FromWallNanos == nil || wall > next.GetFromWallNanos() {
					next.FromWallNanos = &wall
					clear(newest)
				}
				newest[key] = true
			}
			return take(item)
		})
	})
}

// saidKey tells records of one moment apart.
type saidKey struct {
	shadow, device string
	sequence       uint64
}

// stopped marks an error of the caller's, which no retry mends.
type stopped struct{ error }

// follow runs attempt again as long as the daemon is only away; attempt calls here when the daemon has answered. What an attempt opened ends
// with it.
func (c *Client) follow(ctx context.Context, attempt func(ctx context.Context, here func()) error) error {
	away := false
	tell := func(reason error) {
		if isAway := reason != nil; isAway != away {
			away = isAway
			if c.Away != nil {
				c.Away(reason)
			}
		}
	}
	for {
		err := once(ctx, func(ctx context.Context) error { return attempt(ctx, func() { tell(nil) }) })
		var own stopped
		switch {
		case errors.As(err, &own):
			return own.error
		case err == nil || status.Code(err) != codes.Unavailable:
			return err
		}
		tell(err)
		timer := time.NewTimer(retryEvery)
		select {
		case <-ctx.Done():
			timer.Stop()
			return status.FromContextError(ctx.Err()).Err()
		case <-timer.C:
		}
	}
}

func once(ctx context.Context, attempt func(context.Context) error) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	return attempt(ctx)
}

// receive gives each message of a stream to take.
func receive[T any](stream grpc.ServerStreamingClient[T], err error, here func(), take func(*T) error) error {
	if err == nil {
		if _, err = stream.Header(); err == nil { // sent at once: the daemon is there
			here()
		}
	}
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
	client   *Client
	request  *ampledgerv1.StreamReadingsRequest
	channels []string // those followed; nil = all, not known yet
	first    uint64   // where the first item began
	next     map[string]uint64
}

// resumed is the request that goes on where the stream broke: at the channel that is furthest behind.
func (f *follower) resumed(ctx context.Context) (*ampledgerv1.StreamReadingsRequest, error) {
	if len(f.next) == 0 {
		return f.request, nil
	}
	if err := f.learnChannels(ctx); err != nil {
		return nil, err
	}
	from := ^uint64(0)
	for _, channel := range f.channels {
		next, heard := f.next[channel]
		if !heard {
			next = f.first // of one device, no channel lags by a whole item
		}
		from = min(from, next)
	}
	request := proto.CloneOf(f.request)
	request.FromOldest, request.FromSequence = false, &from
	return request, nil
}

func (f *follower) learnChannels(ctx context.Context) error {
	if len(f.channels) > 0 {
		return nil
	}
	response, err := f.client.Readings.ListConductors(ctx, &ampledgerv1.ListConductorsRequest{})
	if err != nil {
		return err
	}
	for _, conductor := range response.GetConductors() {
		if conductor.GetName() == f.request.GetConductor() {
			for _, channel := range conductor.GetChannels() {
				f.channels = append(f.channels, channel.GetName())
			}
		}
	}
	return nil
}

// rest notes an item and gives what is new of it; nil = nothing. The new part of one that was had in part, which the same daemon does
// not send but as Lost, counts as lost.
func (f *follower) rest(item *ampledgerv1.StreamReadingsResponse) *ampledgerv1.StreamReadingsResponse {
	s := spanOf(item)
	if len(f.next) == 0 {
		f.first = s.first
	}
	next, known := f.next[s.channel]
	if known && s.last < next {
		return nil
	}
	f.next[s.channel] = s.last + 1
	if !known || s.first >= next {
		return item
	}
	return &ampledgerv1.StreamReadingsResponse{Item: &ampledgerv1.StreamReadingsResponse_Lost{Lost: &ampledgerv1.Lost{
		Channel: s.channel, FirstSequence: next, LastSequence: s.last, ReadingCount: min(s.count, s.last-next+1),
	}}}
}

// span is what an item is about.
type span struct {
	channel            string
	first, last, count uint64
}

func spanOf(item *ampledgerv1.StreamReadingsResponse) span {
	if f := item.GetFrame(); f != nil {
		count := uint64(len(f.GetCurrentAmperes()))
		return span{f.GetChannel(), f.GetFirstSequence(), f.GetFirstSequence() + count - 1, count}
	}
	if b := item.GetBucket(); b != nil {
		return span{b.GetChannel(), b.GetFirstSequence(), b.GetLastSequence(), uint64(b.GetReadingCount()) + uint64(b.GetUnusableCount())}
	}
	l := item.GetLost()
	return span{l.GetChannel(), l.GetFirstSequence(), l.GetLastSequence(), l.GetReadingCount()}
}
