package service

import (
	"context"
	"errors"
	"sync"
	"time"

	"google.golang.org/grpc/codes"

	"github.com/ampledger/ampledger/daemon/pipeline"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// commissioningServer serves ampledger.v1.CommissioningService.
type commissioningServer struct {
	ampledgerv1.UnimplementedCommissioningServiceServer
	backend  *Backend
	changing sync.Mutex // held while a change is applied or reverted
}

// longestWindow is how long a window without current may be: one that somebody forgets must end.
const longestWindow = time.Hour

// CaptureZero implements the call.
func (s *commissioningServer) CaptureZero(ctx context.Context, request *ampledgerv1.CaptureZeroRequest) (*ampledgerv1.CaptureZeroResponse, error) {
	c, err := s.backend.conductor(request.GetConductor())
	if err != nil {
		return nil, err
	}
	if d := time.Duration(request.GetDurationNanos()); d <= 0 || d > longestWindow {
		return nil, refuse(codes.InvalidArgument, "duration_nanos", "DURATION_OUT_OF_RANGE", "the window must be longer than nothing and at most an hour")
	}
	if err := checkWords(request.GetBy(), request.GetNote()); err != nil {
		return nil, err
	}
	bases := basesOf(c)
	captured, err := c.Declare(ctx, pipeline.Window{Nanos: request.GetDurationNanos(), By: request.GetBy(), Note: request.GetNote()})
	switch {
	case errors.Is(err, pipeline.ErrWindowBusy):
		return nil, refuse(codes.Aborted, "", "WINDOW_OPEN", err.Error())
	case errors.Is(err, pipeline.ErrWindowEmpty):
		return nil, refuse(codes.OutOfRange, "", "WINDOW_EMPTY", err.Error())
	case errors.Is(err, pipeline.ErrWindowSilent):
		return nil, refuse(codes.Unavailable, "", "NO_READINGS", err.Error())
	case err != nil:
		return nil, markStatus(err)
	}
	response := zeroResponse(captured)
	return response, s.keepZeros(ctx, c, bases, request, captured, response)
}

func zeroResponse(captured *pipeline.Captured) *ampledgerv1.CaptureZeroResponse {
	response := &ampledgerv1.CaptureZeroResponse{FromWallNanos: captured.From, ToWallNanos: captured.To, Notes: captured.Notes}
	for _, zero := range captured.Zeros {
		response.Channels = append(response.Channels, &ampledgerv1.ChannelZero{
			Channel: zero.Lane.Name, ReadingCount: zero.Readings, MeanAmperes: zero.Mean, StandardUncertaintyAmperes: zero.Uncertainty,
			TemperatureCelsius: zero.Celsius, TemperatureKnown: zero.CelsiusKnown,
			OffsetBeforeAmperes: zero.Before.Amperes, OffsetBeforeUncertaintyAmperes: zero.Before.Uncertainty,
			OffsetAfterAmperes: zero.After.Amperes, OffsetAfterUncertaintyAmperes: zero.After.Uncertainty,
		})
	}
	return response
}
