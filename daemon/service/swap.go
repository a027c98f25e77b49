package service

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"

	"github.com/ampledger/ampledger/daemon/pipeline"
	"github.com/ampledger/ampledger/daemon/pluginhost"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

var swapSteps = map[pipeline.Step]ampledgerv1.SwapStep{
	pipeline.Starting: ampledgerv1.SwapStep_SWAP_STEP_STARTING,
	pipeline.Warming:  ampledgerv1.SwapStep_SWAP_STEP_WARMING,
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
	if r.GetPlugin() != "" || ways == 0 {
		by, ways = w.swap, ways+1
		if w.candidate, err = s.candidate(r.GetPlugin(), r.GetSettings().AsMap()); err != nil {
			return nil, err
		}
	}
	if ways > 1 {
		return nil, refuse(codes.InvalidArgument, "plugin", "SEVERAL_WAYS", "give one of plugin, shadow and revert, not several")
	}
	if r.GetShadowNanos() < 0 || !(r.GetMostDeviationsRatio() >= 0) || r.GetShadowNanos() > 0 && r.GetPlugin() == "" {
		return nil, refuse(codes.InvalidArgument, "shadow_nanos", "SHADOW_TIME_INVALID",
			"shadow_nanos goes with plugin, and neither it nor most_deviations_ratio may be below 0")
	}
	return by, nil
}

// candidate is a shipped estimator with settings.
func (s *estimatorServer) candidate(plugin string, settings map[string]any) (pipeline.Candidate, error) {
	if !slices.Contains(s.backend.Estimators, plugin) {
		return pipeline.Candidate{}, refuse(codes.InvalidArgument, "plugin", "PLUGIN_UNKNOWN",
			"there is no estimator "+quote(plugin)+"; shipped are "+strings.Join(s.backend.Estimators, ", "))
	}
	return pipeline.Candidate{Program: pluginhost.Program{Shipped: plugin}, Settings: settings}, nil
}

func (w *swapping) progress(step pipeline.Step, generation uint64) {
	w.generation = generation
	if wire := swapSteps[step]; wire != 0 {
		w.tell(wire)
	}
}

// tell sends a step. A caller that is gone shows in the context, which ends the swap.
func (w *swapping) tell(step ampledgerv1.SwapStep) {
	_ = w.stream.Send(&ampledgerv1.SwapEstimatorResponse{Step: step, Generation: w.generation})
}

func (w *swapping) promote(context.Context) (at map[string]uint64, err error) {
	at, w.generation, err = w.Promote(w.request.GetShadow())
	return at, err
}

func (w *swapping) revert(ctx context.Context) (map[string]uint64, error) {
	return w.Revert(ctx, w.progress)
}

// swap puts the candidate in force at once, or when it has been in the shadow for the time asked for and passes.
func (w *swapping) swap(ctx context.Context) (map[string]uint64, error) {
	if w.request.GetShadowNanos() == 0 {
		return w.Swap(ctx, w.candidate, w.progress)
	}
	name := fmt.Sprintf("candidate-%d", time.Now().UnixNano())
	if _, err := w.AddShadow(ctx, name, w.candidate, w.progress); err != nil {
		return nil, err
	}
	w.tell(ampledgerv1.SwapStep_SWAP_STEP_SHADOWING)
	err := w.endure(ctx, name)
	if err == nil {
		var at map[string]uint64
		if at, _, err = w.Promote(name); err == nil {
			return at, nil
		}
	}
	return nil, errors.Join(err, w.RemoveShadow(name))
}

// endure waits for the time in the shadow and looks how the candidate did.
func (w *swapping) endure(ctx context.Context, name string) error {
	timer := time.NewTimer(time.Duration(w.request.GetShadowNanos()))
	defer timer.Stop()
	select {
	case <-ctx.Done():
		return context.Cause(ctx)
	case <-timer.C:
	}
	all := w.Compare(math.MinInt64, math.MaxInt64)
	i := slices.IndexFunc(all, func(c pipeline.Comparison) bool { return c.Shadow == name })
	if i < 0 {
		return fmt.Errorf("%w: %s was removed", pipeline.ErrShadowUnknown, name)
	}
	return passes(&all[0], &all[i], w.request.GetMostDeviationsRatio())
}

// passes tells why a candidate may not take over.
func passes(inForce, candidate *pipeline.Comparison, most float64) error {
	if candidate.Fault != nil {
		return candidate.Fault
	}
	for _, of := range candidate.Channels {
		for _, old := range inForce.Channels {
			off := math.Abs(of.Offset - old.Offset)
			together := math.Hypot(of.OffsetDeviation, old.OffsetDeviation)
			if most > 0 && of.Lane == old.Lane && !(off <= most*together) {
				return fmt.Errorf("channel %s: its offset is %.4g A off that in force, more than %g times the %.4g A of their uncertainties together",
					of.Lane.Name, off, most, together)
			}
		}
	}
	return nil
}
