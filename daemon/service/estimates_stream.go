package service

import (
	"math"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"

	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// estimateStream is one follower of a conductor's estimators.
type estimateStream struct {
	*estimatorServer
	request *ampledgerv1.StreamEstimatesRequest
	to      grpc.ServerStreamingServer[ampledgerv1.StreamEstimatesResponse]
	sent    map[said]bool // of the past, so that what comes twice is left out
}

// said tells records apart.
type said struct {
	shadow, device string
	sequence       uint64
}

func saidOf(r *ampledgerv1.EstimateRecord) said {
	return said{r.GetShadow(), r.GetDevice(), r.GetThroughSequence()}
}

// StreamEstimates implements the call.
func (s *estimatorServer) StreamEstimates(request *ampledgerv1.StreamEstimatesRequest, stream grpc.ServerStreamingServer[ampledgerv1.StreamEstimatesResponse]) error {
	c, err := s.backend.conductor(request.GetConductor())
	if err != nil {
		return err
	}
	if request.FromWallNanos != nil && request.ToWallNanos != nil && request.GetFromWallNanos() > request.GetToWallNanos() {
		return refuse(codes.InvalidArgument, "to_wall_nanos", "SPAN_REVERSED", "the span ends before it begins")
	}
	// Listening begins before the past is read, so that nothing falls between.
	l := s.backend.Estimates.subscribe(c.Name())
	defer s.backend.Estimates.unsubscribe(l)
	// Headers now, so that a caller knows that it misses nothing from here on.
	if err := stream.SendHeader(nil); err != nil {
		return err
	}
	f := &estimateStream{estimatorServer: s, request: request, to: stream, sent: map[said]bool{}}
	if request.FromWallNanos != nil {
		if err := f.sendPast(); err != nil {
			return err
		}
	}
	if request.ToWallNanos != nil {
		return nil
	}
	return f.follow(l)
}

// sendPast sends what is recorded of the span.
func (f *estimateStream) sendPast() error {
	to := int64(math.MaxInt64)
	if f.request.ToWallNanos != nil {
		to = f.request.GetToWallNanos()
	}
	err := f.backend.recorded(f.to.Context(), f.request.GetConductor(), f.request.GetFromWallNanos(), to, func(r *ampledgerv1.EstimateRecord) error {
		if f.request.ToWallNanos == nil {
			f.sent[saidOf(r)] = true
		}
		return f.to.Send(&ampledgerv1.StreamEstimatesResponse{Record: r})
	})
	return statusOf(err)
}

// follow sends what comes.
func (f *estimateStream) follow(l *listener) error {
	for {
		records, lost, open := f.backend.Estimates.take(l)
		for _, r := range records {
			if f.sent[saidOf(r)] {
				continue
			}
			if err := f.to.Send(&ampledgerv1.StreamEstimatesResponse{Record: r}); err != nil {
				return err
			}
		}
		f.sent = nil // what was said while the past was read has been looked at
		if lost > 0 {
			if err := f.to.Send(&ampledgerv1.StreamEstimatesResponse{LostCount: lost}); err != nil {
				return err
			}
		}
		if len(records) > 0 {
			continue
		}
		if !open {
			return errStopping
		}
		select {
		case <-f.to.Context().Done():
			return statusOf(f.to.Context().Err())
		case <-l.woken:
		}
	}
}
