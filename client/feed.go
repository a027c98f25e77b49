package client

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"slices"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// sentAhead is how many frames Send may be ahead of the daemon.
const sentAhead = 16

// frameRoom is what a message takes beside its frame, in bytes, at most.
const frameRoom = 16

// ErrReplyLost says that the daemon took a frame and that its reply is lost, since the connection broke in between.
var ErrReplyLost = errors.New("the daemon took the frame and its reply is lost")

// Feeder pushes a rig's scans to a device that is fed, through interruptions: while the daemon is away it waits, and then it goes on where the
// daemon is, so that no frame counts twice. Any other error ends it: later calls give the same. A Feeder belongs to one goroutine.
type Feeder struct {
	client  *Client
	hello   *ampledgerv1.FeedHello
	ctx     context.Context
	welcome *ampledgerv1.FeedWelcome
	stream  grpc.BidiStreamingClient[ampledgerv1.FeedRequest, ampledgerv1.FeedResponse] // nil = not connected
	end     context.CancelFunc
	waiting []sent // not acknowledged, oldest first
	unsure  uint64
	over    error // why nothing goes any more
}

// sent is a frame and whether the daemon may have it.
type sent struct {
	*ampledgerv1.FeedFrame
	maybe bool
}

// Feed begins to feed a device until Close, or until ctx ends. A hello without a session gets one of its own: one run of the rig's clock and numbering.
func (c *Client) Feed(ctx context.Context, hello *ampledgerv1.FeedHello) (*Feeder, error) {
	f := &Feeder{client: c, hello: proto.CloneOf(hello), ctx: ctx, end: func() {}}
	if f.hello.GetSession() == "" {
		f.hello.Session = rand.Text()
	}
	if _, err := f.settle(0); err != nil {
		return nil, err
	}
	return f, nil
}

// Welcome is what the daemon said last: mode, inputs, limits and, when the Feeder began, where it goes on. It must not be changed.
func (f *Feeder) Welcome() *ampledgerv1.FeedWelcome { return f.welcome }

// Session is the session's name: with it another Feeder goes on where this one ended.
func (f *Feeder) Session() string { return f.hello.GetSession() }

// Unsure counts the scans of frames that were on their way when the daemon ended. The daemon that was started after it does not know whether it had
// them: they are not sent again, and what it did not have lies in the gap it makes of the time it was away.
func (f *Feeder) Unsure() uint64 { return f.unsure }

// Exchange sends a frame and gives what the daemon answers when it has gone through. ErrReplyLost: it has, but the answer is lost, which ends
// nothing.
func (f *Feeder) Exchange(frame *ampledgerv1.FeedFrame) (*ampledgerv1.FeedAcknowledgement, error) {
	acknowledgement, err := f.push(frame, 0)
	if err == nil && acknowledgement.GetNextSequence() != frame.GetFirstSequence()+uint64(frame.GetScanCount()) {
		err = fmt.Errorf("frame at sequence %d: %w", frame.GetFirstSequence(), ErrReplyLost)
	}
	return acknowledgement, err
}

// Send sends a frame, which must not be changed any more, and does not wait for its answer unless it is 16 frames ahead. A refusal shows at a later call.
func (f *Feeder) Send(frame *ampledgerv1.FeedFrame) error {
	_, err := f.push(frame, sentAhead)
	return err
}

// push sends a frame and waits until no more than ahead answers are due.
func (f *Feeder) push(frame *ampledgerv1.FeedFrame, ahead int) (*ampledgerv1.FeedAcknowledgement, error) {
	if bytes, most := proto.Size(frame), f.welcome.GetMaximumMessageBytes(); bytes > int(most)-frameRoom {
		return nil, fmt.Errorf("the frame at sequence %d takes %d bytes, and the daemon takes messages of %d: give fewer scans at a time",
			frame.GetFirstSequence(), bytes, most)
	}
	f.waiting = append(f.waiting, sent{FeedFrame: frame})
	return f.settle(ahead)
}

// Close waits until all that was sent has gone through, and leaves the device.
func (f *Feeder) Close() error {
	defer f.disconnect()
	if _, err := f.settle(0); err != nil {
		return err
	}
	if err := f.stream.CloseSend(); err != nil {
		return err
	}
	if _, err := f.stream.Recv(); err != nil && !errors.Is(err, io.EOF) {
		return err
	}
	return nil
}

// settle sends what waits and receives answers until no more than ahead are due; it gives the last one.
func (f *Feeder) settle(ahead int) (acknowledgement *ampledgerv1.FeedAcknowledgement, err error) {
	if f.over != nil {
		return nil, f.over
	}
	f.over = f.client.patiently(f.ctx, func(here func()) error {
		err := f.connect()
		if err == nil {
			here()
			err = f.send()
		}
		for err == nil && len(f.waiting) > ahead {
			acknowledgement, err = f.receive()
		}
		if err != nil {
			f.disconnect()
		}
		return err
	})
	return acknowledgement, f.over
}

// connect opens the stream, unless it is open, and leaves out what the daemon has.
func (f *Feeder) connect() error {
	if f.stream != nil {
		return nil
	}
	ctx, end := context.WithCancel(f.ctx)
	stream, err := f.client.Feeds.Feed(ctx)
	if err != nil {
		end()
		return err
	}
	f.stream, f.end = stream, end
	err = f.put(&ampledgerv1.FeedRequest{Item: &ampledgerv1.FeedRequest_Hello{Hello: f.hello}})
	if err != nil {
		return err
	}
	response, err := stream.Recv()
	if err != nil {
		return err
	}
	if f.welcome = response.GetWelcome(); f.welcome == nil {
		return status.Error(codes.Internal, "the daemon did not answer the hello with a welcome")
	}
	f.resume()
	return nil
}

// resume leaves out the frames that the daemon has, or may have.
func (f *Feeder) resume() {
	f.waiting = slices.DeleteFunc(f.waiting, func(s sent) bool {
		if f.welcome.GetResumed() {
			return s.GetFirstSequence() < f.welcome.GetNextSequence()
		}
		if s.maybe {
			f.unsure += uint64(s.GetScanCount())
		}
		return s.maybe
	})
	for i := range f.waiting {
		f.waiting[i].maybe = false
	}
}

// send sends what was not sent yet.
func (f *Feeder) send() error {
	for i := range f.waiting {
		s := &f.waiting[i]
		if s.maybe {
			continue
		}
		s.maybe = true
		if err := f.put(&ampledgerv1.FeedRequest{Item: &ampledgerv1.FeedRequest_Frame{Frame: s.FeedFrame}}); err != nil {
			return f.ended(err)
		}
	}
	return nil
}

// put sends a message. gRPC gives the reason why it cannot where messages are received.
func (f *Feeder) put(request *ampledgerv1.FeedRequest) error {
	err := f.stream.Send(request)
	for errors.Is(err, io.EOF) {
		if _, why := f.stream.Recv(); why != nil {
			return why
		}
	}
	return err
}

// receive takes the next answer.
func (f *Feeder) receive() (*ampledgerv1.FeedAcknowledgement, error) {
	response, err := f.stream.Recv()
	if err != nil {
		return nil, f.ended(err)
	}
	f.waiting = f.waiting[1:]
	return response.GetAcknowledgement(), nil
}

// ended says why the stream ended. A daemon that stops has not counted what it did not acknowledge.
func (f *Feeder) ended(err error) error {
	if errors.Is(err, io.EOF) {
		return status.Error(codes.Unavailable, "the daemon ended the feed")
	}
	for _, detail := range status.Convert(err).Details() {
		if info, is := detail.(*errdetails.ErrorInfo); is && info.GetReason() == "STOPPING" {
			for i := range f.waiting {
				f.waiting[i].maybe = false
			}
		}
	}
	return err
}

func (f *Feeder) disconnect() {
	f.end()
	f.stream, f.end = nil, func() {}
}
