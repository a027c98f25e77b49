package service

import (
	"context"
	"errors"
	"fmt"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	"github.com/ampledger/ampledger/daemon/store"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// waveformPage is how many frames are read at a time.
const waveformPage = 64

// GetWaveform implements the call.
func (s *abuseServer) GetWaveform(request *ampledgerv1.GetWaveformRequest, stream grpc.ServerStreamingServer[ampledgerv1.GetWaveformResponse]) error {
	ctx := stream.Context()
	event, err := s.backend.Ledger.Event(ctx, request.GetEventId())
	if errors.Is(err, store.ErrNoEvent) {
		return unknownEvent(request.GetEventId())
	}
	if err != nil {
		return statusOf(err)
	}
	w, err := s.waveform(ctx, event.GetEventId())
	if err != nil {
		return err
	}
	header := &ampledgerv1.GetWaveformResponse_Waveform{Waveform: waveformOf(event, w)}
	if err := stream.Send(&ampledgerv1.GetWaveformResponse{Item: header}); err != nil {
		return err
	}
	return s.sendFrames(w, stream)
}

// waveform gives a waveform that is there to be read, or says why there is none.
func (s *abuseServer) waveform(ctx context.Context, eventID string) (*store.Waveform, error) {
	taken := s.backend.Waveforms.takes(eventID) // asked first: what closes meanwhile is found below
	w, err := s.backend.Ledger.Waveform(ctx, eventID)
	switch {
	case err != nil && !errors.Is(err, store.ErrNoWaveform):
		return nil, statusOf(err)
	case err != nil && taken, err == nil && w.State == store.WaveformOpen:
		return nil, refuse(codes.FailedPrecondition, "", "WAVEFORM_OPEN", "the waveform of event "+quote(eventID)+" is still being taken; ask again")
	case err != nil:
		return nil, refuse(codes.NotFound, "", "WAVEFORM_NEVER", "event "+quote(eventID)+" has no waveform: it is none of a guard element, the daemon "+
			"ended before it began, or too many others were being taken, of which an event of kind storage tells")
	case w.State == store.WaveformDropped:
		return nil, dropped(w)
	}
	return w, nil
}

func dropped(w *store.Waveform) error {
	return refuse(codes.NotFound, "", "WAVEFORM_DROPPED", "the waveform of event "+quote(w.EventID)+" is gone: "+w.Shortfall)
}

// waveformOf writes a waveform down as the API gives it.
func waveformOf(event *ampledgerv1.Event, w *store.Waveform) *ampledgerv1.Waveform {
	header := &ampledgerv1.Waveform{
		EventId: w.EventID, Conductor: w.Conductor, Channel: w.Channel, OnsetSequence: event.GetOnsetSequence(),
		OnsetWallNanos: event.GetOnsetWallNanos(), OnsetMonotonicNanos: event.GetOnsetMonotonicNanos(),
		BeforeNanos: w.BeforeNanos, AfterNanos: w.AfterNanos, Complete: w.State == store.WaveformComplete, Shortfall: w.Shortfall,
	}
	if w.Kept != nil {
		header.FirstSequence, header.LastSequence = w.Kept.First, w.Kept.Last
	}
	return header
}

// sendFrames sends the readings of a waveform, all of them or an error.
func (s *abuseServer) sendFrames(w *store.Waveform, stream grpc.ServerStreamingServer[ampledgerv1.GetWaveformResponse]) error {
	if w.Kept == nil {
		return nil
	}
	preceding := uint64(0) // readings of the channel up to what was sent; 0 = nothing was
	for next := w.Kept.First; next <= w.Kept.Last; {
		frames, err := s.backend.Ledger.WaveformFrames(stream.Context(), w, next, waveformPage)
		if err != nil {
			return statusOf(err)
		}
		if len(frames) == 0 {
			return s.missing(stream.Context(), w, next)
		}
		for _, stored := range frames {
			frame, err := frameOf(&stored, w.Kept)
			if err != nil {
				return statusOf(err)
			}
			if preceding != 0 && frame.GetPrecedingCount() != preceding {
				return s.missing(stream.Context(), w, next)
			}
			preceding, next = frame.GetPrecedingCount()+uint64(len(frame.GetCurrentAmperes())), stored.Last+1
			if err := stream.Send(&ampledgerv1.GetWaveformResponse{Item: &ampledgerv1.GetWaveformResponse_Frame{Frame: frame}}); err != nil {
				return err
			}
		}
	}
	return nil
}

// missing says why frames are not there that should be: it was dropped meanwhile, or the file is damaged.
func (s *abuseServer) missing(ctx context.Context, w *store.Waveform, sequence uint64) error {
	if now, err := s.backend.Ledger.Waveform(ctx, w.EventID); err == nil && now.State == store.WaveformDropped {
		return dropped(now)
	}
	return refuse(codes.DataLoss, "", "WAVEFORM_DAMAGED", fmt.Sprintf("readings of the waveform of event %s are missing in the store from sequence %d on",
		quote(w.EventID), sequence))
}

// frameOf decodes a stored frame and cuts it to the waveform's readings.
func frameOf(stored *store.WaveformFrame, kept *store.Sequences) (*ampledgerv1.Frame, error) {
	var response ampledgerv1.StreamReadingsResponse
	if err := proto.Unmarshal(stored.Encoded, &response); err != nil {
		return nil, fmt.Errorf("%w: frame of sequence %d: %w", store.ErrDamaged, stored.First, err)
	}
	frame := response.GetFrame()
	if n := uint64(len(frame.GetCurrentAmperes())); frame.GetFirstSequence() != stored.First || stored.First+n-1 != stored.Last {
		return nil, fmt.Errorf("%w: frame of sequence %d holds others", store.ErrDamaged, stored.First)
	}
	if stored.Last > kept.Last {
		endFrame(frame, int(kept.Last-stored.First)+1)
	}
	if stored.First < kept.First {
		cutFrame(frame, int(kept.First-stored.First))
	}
	return frame, nil
}

// endFrame leaves the first n readings of a frame.
func endFrame(f *ampledgerv1.Frame, n int) {
	f.CurrentAmperes = f.GetCurrentAmperes()[:n]
	if len(f.GetRawValues()) > 0 {
		f.RawValues = f.GetRawValues()[:n]
	}
	if len(f.GetOffsetNanos()) > 0 {
		f.OffsetNanos = f.GetOffsetNanos()[:n]
	}
	if len(f.GetQualityBits()) > 0 {
		f.QualityBits = f.GetQualityBits()[:n]
	}
}
