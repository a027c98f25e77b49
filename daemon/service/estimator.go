package service

import (
	"context"
	"slices"
	"strings"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"

	"github.com/ampledger/ampledger/daemon/pipeline"
	"github.com/ampledger/ampledger/daemon/pluginhost"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// estimatorServer serves ampledger.v1.EstimatorService.
type estimatorServer struct {
	ampledgerv1.UnimplementedEstimatorServiceServer
	backend *Backend
}

// ListEstimators implements the call.
func (s *estimatorServer) ListEstimators(context.Context, *ampledgerv1.ListEstimatorsRequest) (*ampledgerv1.ListEstimatorsResponse, error) {
	response := &ampledgerv1.ListEstimatorsResponse{}
	for _, c := range s.backend.Conductors {
		if status, has := c.Estimator(); has {
			response.Estimators = append(response.Estimators, estimatorOf(c.Name(), status))
		}
	}
	return response, nil
}

func estimatorOf(conductor string, status pipeline.EstimatorStatus) *ampledgerv1.Estimator {
	e := &ampledgerv1.Estimator{
		Conductor: conductor, Plugin: status.Plugin, Generation: status.Generation, Method: status.Method,
		ProcessId: int32(status.PID), Alive: status.Fault == nil, SkippedCount: status.Skipped,
	}
	if status.Fault != nil {
		e.Fault = status.Fault.Error()
	}
	for _, n := range status.Newest {
		e.Estimates = append(e.Estimates, &ampledgerv1.Estimate{
			Channel: n.Channel, OffsetAmperes: n.Amperes, StandardUncertaintyAmperes: n.Uncertainty, ThroughSequence: n.Made.Sequence,
		})
	}
	return e
}

var swapSteps = map[pipeline.Step]ampledgerv1.SwapStep{
	pipeline.Starting: ampledgerv1.SwapStep_SWAP_STEP_STARTING,
	pipeline.Warming:  ampledgerv1.SwapStep_SWAP_STEP_WARMING,
}

// SwapEstimator implements the call.
func (s *estimatorServer) SwapEstimator(request *ampledgerv1.SwapEstimatorRequest, stream grpc.ServerStreamingServer[ampledgerv1.SwapEstimatorResponse]) error {
	c, err := s.backend.conductor(request.GetConductor())
	if err != nil {
		return err
	}
	if !slices.Contains(s.backend.Estimators, request.GetPlugin()) {
		return refuse(codes.InvalidArgument, "plugin", "PLUGIN_UNKNOWN",
			"there is no estimator "+quote(request.GetPlugin())+"; shipped are "+strings.Join(s.backend.Estimators, ", "))
	}
	candidate := pipeline.Candidate{
		Program: pluginhost.Program{Shipped: request.GetPlugin()}, Settings: request.GetSettings().AsMap(),
	}
	last := &ampledgerv1.SwapEstimatorResponse{Step: ampledgerv1.SwapStep_SWAP_STEP_SWAPPED}
	at, err := c.Swap(stream.Context(), candidate, func(step pipeline.Step, generation uint64) {
		last.Generation = generation
		if wire := swapSteps[step]; wire != 0 {
			// A caller that is gone shows in the context, which ends the swap.
			_ = stream.Send(&ampledgerv1.SwapEstimatorResponse{Step: wire, Generation: generation})
		}
	})
	switch {
	case err == nil:
		last.AtSequence = at
	case last.Generation == 0: // it never began
		return statusOf(err)
	default:
		last.Step, last.Reason = ampledgerv1.SwapStep_SWAP_STEP_FAILED, err.Error()
	}
	return stream.Send(last)
}
