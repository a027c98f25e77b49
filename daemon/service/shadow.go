package service

import (
	"context"
	"errors"
	"math"

	"google.golang.org/grpc/codes"

	"github.com/ampledger/ampledger/daemon/config"
	"github.com/ampledger/ampledger/daemon/pipeline"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// AddShadow implements the call.
func (s *estimatorServer) AddShadow(ctx context.Context, request *ampledgerv1.AddShadowRequest) (*ampledgerv1.AddShadowResponse, error) {
	c, err := s.backend.conductor(request.GetConductor())
	if err != nil {
		return nil, err
	}
	if !config.ShadowName.MatchString(request.GetName()) {
		return nil, refuse(codes.InvalidArgument, "name", "NAME_INVALID", "a shadow's name has 1 to 40 letters, digits, - and _; "+quote(request.GetName())+" has not")
	}
	candidate, err := s.candidate(request)
	if err != nil {
		return nil, err
	}
	generation, err := c.AddShadow(ctx, request.GetName(), candidate, func(pipeline.Progress) {})
	if err != nil {
		return nil, estimatorStatus(err)
	}
	return &ampledgerv1.AddShadowResponse{Generation: generation}, nil
}

// RemoveShadow implements the call.
func (s *estimatorServer) RemoveShadow(_ context.Context, request *ampledgerv1.RemoveShadowRequest) (*ampledgerv1.RemoveShadowResponse, error) {
	c, err := s.backend.conductor(request.GetConductor())
	if err == nil {
		err = c.RemoveShadow(request.GetName())
	}
	if err != nil {
		return nil, estimatorStatus(err)
	}
	return &ampledgerv1.RemoveShadowResponse{}, nil
}

// estimatorStatus maps what is refused of estimators; what does not start is the candidate's fault.
func estimatorStatus(err error) error {
	for _, each := range []struct {
		is     error
		code   codes.Code
		reason string
	}{
		{pipeline.ErrShadowUnknown, codes.NotFound, "SHADOW_UNKNOWN"},
		{pipeline.ErrShadowTaken, codes.AlreadyExists, "SHADOW_TAKEN"},
		{pipeline.ErrShadowsFull, codes.ResourceExhausted, "SHADOWS_FULL"},
		{pipeline.ErrNoPrevious, codes.FailedPrecondition, "NO_PREVIOUS"},
	} {
		if errors.Is(err, each.is) {
			return refuse(each.code, "", each.reason, err.Error())
		}
	}
	mapped := statusOf(err)
	if isInternal(mapped) {
		return refuse(codes.FailedPrecondition, "", "ESTIMATOR_FAILED", err.Error())
	}
	return mapped
}

// CompareEstimators implements the call.
func (s *estimatorServer) CompareEstimators(ctx context.Context, request *ampledgerv1.CompareEstimatorsRequest) (*ampledgerv1.CompareEstimatorsResponse, error) {
	c, err := s.backend.conductor(request.GetConductor())
	if err != nil {
		return nil, err
	}
	from, to := int64(math.MinInt64), int64(math.MaxInt64)
	if request.FromWallNanos != nil {
		from = request.GetFromWallNanos()
	}
	if request.ToWallNanos != nil {
		to = request.GetToWallNanos()
	}
	if from > to {
		return nil, refuse(codes.InvalidArgument, "to_wall_nanos", "SPAN_REVERSED", "the span ends before it begins")
	}
	response := &ampledgerv1.CompareEstimatorsResponse{}
	compared, err := s.compare(ctx, c, from, to)
	if err != nil {
		return nil, statusOf(err)
	}
	for _, each := range compared {
		response.Comparisons = append(response.Comparisons, comparisonOf(&each))
	}
	return response, nil
}

// compare takes every summary if the span is retained as a whole, else what is recorded of it.
func (s *estimatorServer) compare(ctx context.Context, c *Conductor, from, to int64) ([]pipeline.Comparison, error) {
	if s.backend.Trail == nil || from == math.MinInt64 || from >= c.Oldest() {
		return c.Compare(from, to), nil
	}
	recorded := map[string][]*ampledgerv1.EstimateRecord{}
	err := s.backend.recorded(ctx, c.Name(), from, to, func(r *ampledgerv1.EstimateRecord) error {
		recorded[r.GetShadow()] = append(recorded[r.GetShadow()], r)
		return nil
	})
	if err != nil {
		return nil, err
	}
	var compared []pipeline.Comparison
	for _, history := range c.Histories() {
		history.Records = recorded[history.Shadow]
		compared = append(compared, history.Against(recorded[""]))
	}
	return compared, nil
}

func comparisonOf(c *pipeline.Comparison) *ampledgerv1.EstimatorComparison {
	wire := &ampledgerv1.EstimatorComparison{
		Shadow: c.Shadow, Plugin: c.Plugin, Generation: c.Generation, ProcessId: int32(c.PID), AnsweredCount: c.Answered, SkippedCount: c.Skipped,
		RestCount: c.Rests, NoteCount: c.Notes, MeanLatencyNanos: c.MeanLatency.Nanoseconds(), LongestLatencyNanos: c.LongestLatency.Nanoseconds(),
		Channels: c.Channels, Outputs: c.Outputs,
	}
	if c.Fault != nil {
		wire.Fault = c.Fault.Error()
	}
	if used, known := usageOf(c.PID); known {
		wire.ProcessorNanos, wire.ResidentBytes = used.processor.Nanoseconds(), used.resident
	}
	return wire
}
