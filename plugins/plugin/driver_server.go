package plugin

import (
	"context"
	"sync"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pluginv1 "github.com/ampledger/ampledger/proto/ampledger/plugin/v1"
)

// driverServer serves a Driver. Its lock guards the order configure → describe → stream, never a running stream.
type driverServer struct {
	pluginv1.UnimplementedDriverServiceServer
	driver Driver

	mu          sync.Mutex
	description *Description
	streaming   bool
}

func (s *driverServer) Configure(ctx context.Context, request *pluginv1.DriverServiceConfigureRequest) (*pluginv1.DriverServiceConfigureResponse, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.description != nil {
		return nil, status.Error(codes.FailedPrecondition, "already configured")
	}
	description, err := s.driver.Configure(ctx, request.GetDevice(), Settings{request.GetSettings()})
	if err != nil {
		return nil, status.Error(codes.InvalidArgument, err.Error())
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

var errNotConfigured = status.Error(codes.FailedPrecondition, "not configured")

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
	return nil
}

func (s *driverServer) Stream(_ *pluginv1.StreamRequest, stream grpc.ServerStreamingServer[pluginv1.StreamResponse]) error {
	if err := s.begin(); err != nil {
		return err
	}
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
