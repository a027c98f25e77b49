package plugin

import (
	"context"
	"errors"
	"io"
	"maps"
	"slices"
	"sync"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pluginv1 "github.com/ampledger/ampledger/proto/ampledger/plugin/v1"
)

// estimatorServer serves an Estimator. Its lock makes the calls one at a time, so that a snapshot falls between two summaries.
type estimatorServer struct {
	pluginv1.UnimplementedEstimatorServiceServer
	estimator Estimator
	work      *sync.WaitGroup

	mu         sync.Mutex
	asked      bool // Configure was called
	configured bool
	running    bool // Run was called
}

func (s *estimatorServer) Configure(ctx context.Context, request *pluginv1.EstimatorServiceConfigureRequest) (*pluginv1.EstimatorServiceConfigureResponse, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.asked {
		return nil, errConfigured
	}
	s.asked = true
	conductor := Conductor{
		Name: request.GetConductor(), Channels: request.GetChannels(),
		ChargeIsPositive: request.GetChargeIsPositive(), CapacityCoulombs: request.GetCapacityCoulombs(),
	}
	method, err := s.estimator.Configure(ctx, conductor, Settings{request.GetSettings()})
	if err != nil {
		return nil, status.Error(codes.InvalidArgument, err.Error())
	}
	s.configured = true
	return &pluginv1.EstimatorServiceConfigureResponse{
		Method: method, Bases: bases(s.estimator), Outputs: outputs(s.estimator), WantsReadings: wantsReadings(s.estimator),
	}, nil
}

func (s *estimatorServer) Restore(_ context.Context, request *pluginv1.RestoreRequest) (*pluginv1.RestoreResponse, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	switch {
	case !s.configured:
		return nil, errNotConfigured
	case s.running:
		return nil, status.Error(codes.FailedPrecondition, "already running: a state is restored before")
	}
	if err := s.estimator.Restore(request.GetState()); err != nil {
		return nil, status.Error(codes.InvalidArgument, err.Error())
	}
	if aging, is := s.estimator.(Aging); is {
		aging.Age(time.Duration(max(0, request.GetAwayNanos())))
	}
	return &pluginv1.RestoreResponse{}, nil
}

func (s *estimatorServer) Snapshot(context.Context, *pluginv1.SnapshotRequest) (*pluginv1.SnapshotResponse, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if !s.configured {
		return nil, errNotConfigured
	}
	state, err := s.estimator.Snapshot()
	if err != nil {
		return nil, status.Error(codes.Internal, err.Error())
	}
	return &pluginv1.SnapshotResponse{State: state}, nil
}

// begin claims the one session an estimator has.
func (s *estimatorServer) begin() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	switch {
	case !s.configured:
		return errNotConfigured
	case s.running:
		return status.Error(codes.FailedPrecondition, "already running")
	}
	s.running = true
	s.work.Add(1)
	return nil
}

func (s *estimatorServer) Run(stream grpc.BidiStreamingServer[pluginv1.RunRequest, pluginv1.RunResponse]) error {
	if err := s.begin(); err != nil {
		return err
	}
	defer s.work.Done()
	for {
		request, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		answer, err := s.answer(request.GetSummary())
		if err != nil {
			return err
		}
		if err := stream.Send(answer); err != nil {
			return err
		}
	}
}

func (s *estimatorServer) answer(summary *Summary) (*pluginv1.RunResponse, error) {
	if summary == nil {
		return nil, status.Error(codes.InvalidArgument, "a request without a summary")
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	answer, err := Ask(s.estimator, summary)
	if err != nil {
		return nil, status.Errorf(codes.Aborted, "summary of %s through %d: %v", summary.GetDevice(), summary.GetLastSequence(), err)
	}
	return answer, nil
}

// bases asks a configured estimator for the play operators it wants.
func bases(e Estimator) (all []*pluginv1.ChannelBasis) {
	driven, is := e.(PlayDriven)
	if !is {
		return nil
	}
	halfWidths := driven.PlayHalfWidths()
	for _, name := range slices.Sorted(maps.Keys(halfWidths)) {
		all = append(all, &pluginv1.ChannelBasis{Name: name, PlayHalfWidthAmperes: halfWidths[name]})
	}
	return all
}

// outputs asks a configured estimator for what it derives.
func outputs(e Estimator) []*Output {
	if deriving, is := e.(Deriving); is {
		return deriving.Outputs()
	}
	return nil
}

func wantsReadings(e Estimator) bool {
	fullRate, is := e.(FullRate)
	return is && fullRate.WantsReadings()
}
