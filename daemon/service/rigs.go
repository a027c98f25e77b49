package service

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"github.com/ampledger/ampledger/daemon/rig"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// Feed is a device that a rig feeds.
type Feed struct {
	*rig.Source
	Aftermath *Aftermath // of a device in lockstep; told by the sink of its conductors
}

// feedServer serves ampledger.v1.FeedService.
type feedServer struct {
	ampledgerv1.UnimplementedFeedServiceServer
	mailboxes
	backend *Backend
}

type feedStream = grpc.BidiStreamingServer[ampledgerv1.FeedRequest, ampledgerv1.FeedResponse]

// Feed implements the call.
func (s *feedServer) Feed(stream feedStream) error {
	mailbox, err := s.receive(stream)
	if err != nil {
		return err
	}
	request, err := s.hello(stream.Context(), mailbox)
	if err != nil {
		return err
	}
	f, hello, err := s.greet(request)
	if err != nil {
		return err
	}
	seat, err := f.Attach(stream.Context(), rig.Session{Rig: hello.GetRig(), Name: hello.GetSession()})
	if errors.Is(err, rig.ErrFaulty) {
		err = fmt.Errorf("%w; %s", err, s.backend.deviceFault(f.Device()))
	}
	if err != nil {
		return statusOf(err)
	}
	defer func() { seat.Leave(stream.Context().Err() != nil) }() // which has not ended yet if the rig is done or refused
	r := &rigStream{feedStream: stream, mailbox: mailbox, feed: f, seat: seat, conductors: s.backend.using(f.Device())}
	return r.run()
}

const (
	longestName = 256 // bytes
	helloWithin = 10 * time.Second
)

// hello waits for the first message; nil = the rig left without one.
func (s *feedServer) hello(ctx context.Context, from *mailbox) (*ampledgerv1.FeedRequest, error) {
	ctx, cancel := context.WithTimeout(ctx, helloWithin)
	defer cancel()
	var stopping <-chan struct{}
	if len(s.backend.Feeds) > 0 {
		stopping = s.backend.Feeds[0].Stopping() // they stop together
	}
	request, err := from.next(ctx, stopping)
	switch {
	case errors.Is(err, io.EOF):
		return nil, nil
	case status.Code(err) == codes.DeadlineExceeded:
		return nil, refuse(codes.DeadlineExceeded, "", "HELLO_LATE", fmt.Sprintf("no hello came within %v", helloWithin))
	}
	return request, err
}

// greet finds the device of a hello.
func (s *feedServer) greet(request *ampledgerv1.FeedRequest) (*Feed, *ampledgerv1.FeedHello, error) {
	hello := request.GetHello()
	if hello == nil {
		return nil, nil, refuse(codes.InvalidArgument, "hello", "HELLO_INVALID", "a feed begins with a hello that names device, rig and session")
	}
	for _, of := range []struct{ field, value string }{{"hello.rig", hello.GetRig()}, {"hello.session", hello.GetSession()}} {
		if of.value == "" || len(of.value) > longestName {
			return nil, nil, refuse(codes.InvalidArgument, of.field, "HELLO_INVALID", of.field+" must hold 1 to 256 bytes")
		}
	}
	var fed []string
	for _, f := range s.backend.Feeds {
		if f.Device() == hello.GetDevice() {
			return f, hello, nil
		}
		fed = append(fed, quote(f.Device()))
	}
	there := "the configuration has none: give a device `driver: feed`"
	if len(fed) > 0 {
		there = "there are " + strings.Join(fed, ", ")
	}
	return nil, nil, refuse(codes.NotFound, "", "DEVICE_UNKNOWN", "no device "+quote(hello.GetDevice())+" is fed; "+there)
}

// deviceFault says what is wrong with a device.
func (b *Backend) deviceFault(device string) string {
	for _, d := range b.Devices {
		if d.Name() == device {
			return d.Fault()
		}
	}
	return ""
}

// using gives the conductors that have anything on a device.
func (b *Backend) using(device string) (all []*Conductor) {
	for _, c := range b.Conductors {
		if c.Uses(device) {
			all = append(all, c)
		}
	}
	return all
}
