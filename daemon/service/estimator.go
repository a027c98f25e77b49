package service

import (
	"context"

	"github.com/ampledger/ampledger/daemon/pipeline"
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
		names, shadows := c.Shadows()
		for i, status := range shadows {
			shadow := estimatorOf(c.Name(), status)
			shadow.Shadow = names[i]
			response.Estimators = append(response.Estimators, shadow)
		}
	}
	return response, nil
}

func estimatorOf(conductor string, status pipeline.EstimatorStatus) *ampledgerv1.Estimator {
	e := &ampledgerv1.Estimator{
		Conductor: conductor, Plugin: status.Plugin, Generation: status.Generation, Method: status.Method,
		ProcessId: int32(status.PID), Alive: status.Fault == nil, SkippedCount: status.Skipped, Outputs: status.Outputs,
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
