package plugin

import (
	"context"
	"sync"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pluginv1 "github.com/ampledger/ampledger/proto/ampledger/plugin/v1"
)

var (
	errConfigured    = status.Error(codes.FailedPrecondition, "already configured")
	errNotConfigured = status.Error(codes.FailedPrecondition, "not configured")
)

// driverServer serves a Driver. Its lock guards the order configure → describe → stream, never a running stream.
type driverServer struct {
	pluginv1.UnimplementedDriverServiceServer
	driver Driver
	work   *sync.WaitGroup

	mu          sync.Mutex
	asked       bool         // Configure was called
	description *Description // nil = not configured
	streaming   bool
}

func (s *driverServer) Configure(ctx context.Context, request *pluginv1.DriverServiceConfigureRequest) (*pluginv1.DriverServiceConfigureResponse, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.asked {
		return nil, errConfigured
	}
	s.asked = true
	description, err := s.driver.Configure(ctx, request.GetDevice(), Settings{request.GetSettings()})
	switch {
	case err != nil:
		return nil, status.Error(codes.InvalidArgument, err.Error())
	case description == nil:
		return nil, status.Error(codes.Internal, "describes nothing")
	}
	s.description = description
	return &pluginv1.DriverServiceConfigureResponse{}, nil
}

func (s *driverServer) Describe(context.Context, *pluginv1.DescribeRequest) (*pluginv1.DescribeResponse, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.description == nil {
		return nil, errNotConfigured
	}
	return s.description, nil
}

// begin claims the one stream a device has.
func (s *driverServer) begin() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	switch {
	case s.description == nil:
		return errNotConfigured
	case s.streaming:
		return status.Error(codes.FailedPrecondition, "already streaming")
	}
	s.streaming = true
	s.work.Add(1)
	return nil
}

func (s *driverServer) Stream(_ *pluginv1.StreamRequest, stream grpc.ServerStreamingServer[pluginv1.StreamResponse]) error {
	if err := s.begin(); err != nil {
		return err
	}
	defer s.work.Done()
	err := s.driver.Stream(stream.Context(), stream.Send)
	switch {
	case err == nil:
		return nil
	case stream.Context().Err() != nil:
		return status.FromContextError(stream.Context().Err()).Err()
	}
	if _, isStatus := status.FromError(err); isStatus {
		return err
	}
	return status.Error(codes.Aborted, err.Error())
}
