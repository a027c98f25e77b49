package service

import (
	"context"
	"errors"
	"fmt"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"github.com/ampledger/ampledger/daemon/store"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// AbuseLog is what is on disk about events beside their changes, as store.Store has it.
type AbuseLog interface {
	// Event gives an event as its first recorded change has it.
	Event(ctx context.Context, eventID string) (*ampledgerv1.Event, error)
	// UnacknowledgedEvents gives recorded changes of events that nobody acknowledged, behind a log sequence, oldest first.
	UnacknowledgedEvents(ctx context.Context, afterLogSequence uint64, conductor string, limit int) ([]*ampledgerv1.Event, error)
	// Acknowledge records that somebody has seen an event, or gives what was recorded before.
	Acknowledge(ctx context.Context, a store.Acknowledgement) (before *store.Acknowledgement, err error)
	// Acknowledgements gives those there are of events.
	Acknowledgements(ctx context.Context, eventIDs []string) ([]store.Acknowledgement, error)
	// Waveform gives what is known of an event's waveform.
	Waveform(ctx context.Context, eventID string) (*store.Waveform, error)
	// WaveformFrames gives frames of a waveform, from the one that holds a sequence on.
	WaveformFrames(ctx context.Context, w *store.Waveform, from uint64, limit int) ([]store.WaveformFrame, error)
}

// AcknowledgeEvent implements the call.
func (s *abuseServer) AcknowledgeEvent(ctx context.Context, request *ampledgerv1.AcknowledgeEventRequest) (*ampledgerv1.AcknowledgeEventResponse, error) {
	if request.GetBy() == "" {
		return nil, refuse(codes.InvalidArgument, "by", "BY_MISSING", "say who has seen the event")
	}
	if err := checkWords(request.GetBy(), request.GetNote()); err != nil {
		return nil, err
	}
	a := store.Acknowledgement{EventID: request.GetEventId(), WallNanos: time.Now().UnixNano(), By: request.GetBy(), Note: request.GetNote()}
	if a.EventID == "" {
		return nil, unknownEvent(a.EventID)
	}
	before, err := s.backend.Ledger.Acknowledge(ctx, a)
	switch {
	case errors.Is(err, store.ErrNoEvent):
		return nil, unknownEvent(a.EventID)
	case errors.Is(err, store.ErrAcknowledged):
		return nil, acknowledgedBefore(before)
	case err != nil:
		return nil, statusOf(err)
	}
	return &ampledgerv1.AcknowledgeEventResponse{Acknowledgement: acknowledgementOf(&a)}, nil
}

// acknowledge sets what was acknowledged of events.
func (s *abuseServer) acknowledge(ctx context.Context, events []*ampledgerv1.Event) error {
	var names []string
	for _, event := range events {
		names = append(names, event.GetEventId())
	}
	found, err := s.backend.Ledger.Acknowledgements(ctx, names)
	if err != nil || len(found) == 0 {
		return err
	}
	byName := map[string]*ampledgerv1.Acknowledgement{}
	for i := range found {
		byName[found[i].EventID] = acknowledgementOf(&found[i])
	}
	for _, event := range events {
		event.Acknowledgement = byName[event.GetEventId()]
	}
	return nil
}

func acknowledgementOf(a *store.Acknowledgement) *ampledgerv1.Acknowledgement {
	return &ampledgerv1.Acknowledgement{By: a.By, Note: a.Note, WallNanos: a.WallNanos}
}

func unknownEvent(name string) error {
	return refuse(codes.NotFound, "", "EVENT_UNKNOWN", "no event "+quote(name)+" is recorded")
}

// acknowledgedBefore says who was first, and adds it for programs.
func acknowledgedBefore(a *store.Acknowledgement) error {
	s := status.Convert(refuse(codes.AlreadyExists, "", "ACKNOWLEDGED",
		fmt.Sprintf("event %s was acknowledged by %s at %s", quote(a.EventID), quote(a.By), clock(a.WallNanos))))
	detailed, err := s.WithDetails(acknowledgementOf(a))
	if err != nil {
		return s.Err()
	}
	return detailed.Err()
}
