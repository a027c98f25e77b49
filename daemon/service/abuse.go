package service

import (
	"context"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// The sizes of a page of events.
const (
	defaultPage = 100
	maximumPage = 1000
)

// abuseServer serves ampledger.v1.AbuseService.
type abuseServer struct {
	ampledgerv1.UnimplementedAbuseServiceServer
	backend *Backend
}

// ListEvents implements the call. A page token holds the log sequence it goes on after.
func (s *abuseServer) ListEvents(ctx context.Context, request *ampledgerv1.ListEventsRequest) (*ampledgerv1.ListEventsResponse, error) {
	size, err := pageSize(request.GetPageSize())
	if err != nil {
		return nil, err
	}
	asked := proto.CloneOf(request)
	asked.PageSize, asked.PageToken = 0, ""
	question, err := s.backend.question(ctx, asked)
	if err != nil {
		return nil, err
	}
	after, err := question.after(request.GetPageToken())
	if err != nil {
		return nil, err
	}
	if err := s.known(request.GetConductor()); err != nil {
		return nil, err
	}
	events, err := s.logged(ctx, request, after, size+1)
	if err != nil {
		return nil, statusOf(err)
	}
	response := &ampledgerv1.ListEventsResponse{Events: events}
	if len(events) > size {
		response.Events = events[:size]
		response.NextPageToken = question.token(events[size-1].GetLogSequence())
	}
	return response, nil
}

// logged reads recorded changes, each with what was acknowledged of its event.
func (s *abuseServer) logged(ctx context.Context, request *ampledgerv1.ListEventsRequest, after uint64, limit int) ([]*ampledgerv1.Event, error) {
	if request.GetUnacknowledgedOnly() {
		return s.backend.Ledger.UnacknowledgedEvents(ctx, after, request.GetConductor(), limit)
	}
	events, err := s.backend.Ledger.Events(ctx, after, request.GetConductor(), limit)
	if err != nil {
		return nil, err
	}
	return events, s.acknowledge(ctx, events)
}

func (s *abuseServer) known(conductor string) error {
	if conductor == "" {
		return nil
	}
	_, err := s.backend.conductor(conductor)
	return err
}

// StreamEvents implements the call.
func (s *abuseServer) StreamEvents(request *ampledgerv1.StreamEventsRequest, stream grpc.ServerStreamingServer[ampledgerv1.StreamEventsResponse]) error {
	if err := s.known(request.GetConductor()); err != nil {
		return err
	}
	// Listening begins before the log is read, so that nothing falls between; what comes twice is left out the second time.
	ear := s.backend.Events.subscribe(request.GetConductor())
	defer s.backend.Events.unsubscribe(ear)
	// Headers now, so that a caller knows that it misses nothing from here on.
	if err := stream.SendHeader(nil); err != nil {
		return err
	}
	sent := uint64(0)
	if request.AfterLogSequence != nil {
		var err error
		if sent, err = s.sendLog(request, ear, stream); err != nil {
			return err
		}
	}
	for {
		changes, open := s.backend.Events.take(ear, sent)
		for _, change := range changes {
			if err := stream.Send(change); err != nil {
				return err
			}
		}
		if len(changes) > 0 {
			continue
		}
		if !open {
			return errStopping
		}
		select {
		case <-stream.Context().Done():
			return statusOf(stream.Context().Err())
		case <-ear.woken:
		}
	}
}

// sendLog sends what is recorded after a log sequence and gives the last one sent.
func (s *abuseServer) sendLog(request *ampledgerv1.StreamEventsRequest, ear *ear, stream grpc.ServerStreamingServer[ampledgerv1.StreamEventsResponse]) (sent uint64, err error) {
	sent = request.GetAfterLogSequence()
	for {
		events, err := s.backend.Ledger.Events(stream.Context(), sent, request.GetConductor(), maximumPage)
		if err != nil {
			return sent, statusOf(err)
		}
		for _, event := range events {
			s.backend.Events.overtaken(ear, event)
			if err := stream.Send(&ampledgerv1.StreamEventsResponse{Delivery: ampledgerv1.Delivery_DELIVERY_RECORDED, Event: event}); err != nil {
				return sent, err
			}
			sent = event.GetLogSequence()
		}
		if len(events) < maximumPage {
			return sent, nil
		}
	}
}
