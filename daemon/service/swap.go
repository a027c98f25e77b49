package service

import (
	"context"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"

	"github.com/ampledger/ampledger/daemon/pipeline"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

var swapSteps = map[pipeline.Step]ampledgerv1.SwapStep{
	pipeline.Starting:   ampledgerv1.SwapStep_SWAP_STEP_STARTING,
	pipeline.Configured: ampledgerv1.SwapStep_SWAP_STEP_CONFIGURED,
	pipeline.Restoring:  ampledgerv1.SwapStep_SWAP_STEP_RESTORING,
	pipeline.Warming:    ampledgerv1.SwapStep_SWAP_STEP_WARMING,
	pipeline.Shadowing:  ampledgerv1.SwapStep_SWAP_STEP_SHADOWING,
}

// swapping is one call of SwapEstimator.
type swapping struct {
	*Conductor
	request    *ampledgerv1.SwapEstimatorRequest
	candidate  pipeline.Candidate
	stream     grpc.ServerStreamingServer[ampledgerv1.SwapEstimatorResponse]
	generation uint64 // of the candidate; 0 = it never began
}

// SwapEstimator implements the call.
func (s *estimatorServer) SwapEstimator(request *ampledgerv1.SwapEstimatorRequest, stream grpc.ServerStreamingServer[ampledgerv1.SwapEstimatorResponse]) error {
	c, err := s.backend.conductor(request.GetConductor())
	if err != nil {
		return err
	}
	w := &swapping{Conductor: c, request: request, stream: stream}
	by, err := s.way(w)
	if err != nil {
		return err
	}
	at, err := by(stream.Context())
	if err != nil && w.generation == 0 {
		return estimatorStatus(err)
	}
	last := &ampledgerv1.SwapEstimatorResponse{Step: ampledgerv1.SwapStep_SWAP_STEP_SWAPPED, Generation: w.generation, AtSequence: at}
	if err != nil {
		last.Step, last.Reason = ampledgerv1.SwapStep_SWAP_STEP_FAILED, err.Error()
	}
	return stream.Send(last)
}

// way gives what the request asks for: exactly one of plugin, shadow and revert.
func (s *estimatorServer) way(w *swapping) (by func(context.Context) (map[string]uint64, error), err error) {
	r, ways := w.request, 0
	if r.GetShadow() != "" {
		by, ways = w.promote, ways+1
	}
	if r.GetRevert() {
		by, ways = w.revert, ways+1
	}
	if r.GetPlugin() != "" || r.GetExecutable() != "" || ways == 0 {
		by, ways = w.swap, ways+1
		if w.candidate, err = s.candidate(r); err != nil {
			return nil, err
		}
	}
	if ways > 1 {
		return nil, refuse(codes.InvalidArgument, "plugin", "SEVERAL_WAYS", "give one of plugin, executable, shadow and revert, not several")
	}
	if r.GetShadowNanos() < 0 || !(r.GetMostDeviationsRatio() >= 0) || r.GetShadowNanos() > 0 && w.candidate.Program.Name() == "" {
		return nil, refuse(codes.InvalidArgument, "shadow_nanos", "SHADOW_TIME_INVALID",
			"shadow_nanos goes with plugin or executable, and neither it nor most_deviations_ratio may be below 0")
	}
	return by, nil
}

// tell sends a step, but the last, which comes with more. A caller that is gone shows in the context, which ends the swap.
func (w *swapping) tell(p pipeline.Progress) {
	w.generation = p.Generation
	if wire := swapSteps[p.Step]; wire != 0 {
		_ = w.stream.Send(&ampledgerv1.SwapEstimatorResponse{Step: wire, Generation: p.Generation, WarmedRatio: p.Fraction})
	}
}

func (w *swapping) promote(context.Context) (map[string]uint64, error) {
	return w.Promote(w.request.GetShadow(), w.tell)
}

func (w *swapping) revert(ctx context.Context) (map[string]uint64, error) {
	return w.Revert(ctx, w.tell)
}

func (w *swapping) swap(ctx context.Context) (map[string]uint64, error) {
	trial := pipeline.Trial{For: time.Duration(w.request.GetShadowNanos()), MostDeviations: w.request.GetMostDeviationsRatio()}
	return w.Swap(ctx, w.candidate, trial, w.tell)
}
