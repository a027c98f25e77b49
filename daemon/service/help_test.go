package service_test

import (
	"context"
	"errors"
	"io"
	"testing"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
)

// refused wants an error with a code, our ErrorInfo and, if field is not empty, a violation of that field.
func refused(t *testing.T, err error, code codes.Code, reason, field string) {
	t.Helper()
	s := status.Convert(err)
	var info *errdetails.ErrorInfo
	violated := ""
	for _, detail := range s.Details() {
		switch d := detail.(type) {
		case *errdetails.ErrorInfo:
			info = d
		case *errdetails.BadRequest:
			violated = d.GetFieldViolations()[0].GetField()
		}
	}
	if s.Code() != code || info.GetReason() != reason || info.GetDomain() != "ampledger.v1" || violated != field || s.Message() == "" {
		t.Errorf("got %v (%v, field %q), want %v, %s, field %q", err, info, violated, code, reason, field)
	}
}

// stream is a stream of the server's with the means to leave it.
type stream[M any] struct {
	t *testing.T
	grpc.ServerStreamingClient[M]
	leave context.CancelFunc
}

// open opens a stream and waits for its headers: from then on nothing is missed.
func open[Q, M any](t *testing.T, call func(context.Context, *Q, ...grpc.CallOption) (grpc.ServerStreamingClient[M], error), request *Q) stream[M] {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	t.Cleanup(cancel)
	client, err := call(ctx, request)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := client.Header(); err != nil {
		t.Fatal(err)
	}
	return stream[M]{t, client, cancel}
}

// next waits for the next message.
func (s stream[M]) next() *M {
	s.t.Helper()
	m, err := s.Recv()
	if err != nil {
		s.t.Fatal(err)
	}
	return m
}

// rest takes all messages up to the end of the stream and gives what it ended with; nil = well.
func (s stream[M]) rest() (messages []*M, err error) {
	for {
		m, err := s.Recv()
		if errors.Is(err, io.EOF) {
			return messages, nil
		}
		if err != nil {
			return messages, err
		}
		messages = append(messages, m)
	}
}

// fails gives the error of a stream that the server refuses.
func fails[Q, M any](t *testing.T, call func(context.Context, *Q, ...grpc.CallOption) (grpc.ServerStreamingClient[M], error), request *Q) error {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	client, err := call(ctx, request)
	if err != nil {
		t.Fatal(err)
	}
	_, err = client.Recv()
	return err
}
