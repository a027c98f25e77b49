package service

import (
	"context"

	"google.golang.org/grpc/mem"

	"github.com/ampledger/ampledger/daemon/pipeline"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// subscription sends one subscriber what it asked for.
type subscription struct {
	hub      *Hub
	reader   *reader
	to       sender
	sequence *uint64
	tracks   map[string]*track
	order    []string
	reducers map[string]*reducer // nil = every reading
}

func newSubscription(c *Conductor, lanes []*pipeline.Lane, request *ampledgerv1.StreamReadingsRequest, to sender) *subscription {
	s := &subscription{hub: c.Hub, to: to, sequence: request.FromSequence, tracks: map[string]*track{}}
	past := request.GetFromOldest() || request.FromSequence != nil
	var ends map[string]laneEnd
	s.reader, ends = c.Hub.subscribe(past)
	if rate := request.GetMaxRateHertz(); rate > 0 {
		s.reducers = map[string]*reducer{}
		for _, lane := range lanes {
			s.reducers[lane.Name] = newReducer(lane.Name, rate)
		}
	}
	for _, lane := range lanes {
		end, begun := ends[lane.Name]
		s.tracks[lane.Name] = &track{channel: lane.Name}
		if !past {
			s.tracks[lane.Name] = trackLive(lane.Name, end, begun)
		}
		s.order = append(s.order, lane.Name)
	}
	return s
}

func (s *subscription) close() { s.reader.close() }

// run sends until the subscriber leaves or the conductor's devices have come to their end.
func (s *subscription) run(ctx context.Context) error {
	entries := make([]entry, 0, batch)
	for {
		frames, more, err := s.reader.next(ctx, entries)
		if err != nil {
			return hubError(err)
		}
		if err := s.sendAll(frames); err != nil {
			return err
		}
		if !more {
			return s.finish()
		}
	}
}

// sendAll sends frames and gives every reference back, also of those that were not sent.
func (s *subscription) sendAll(frames []entry) error {
	var failed error
	for i := range frames {
		e := &frames[i]
		if failed == nil {
			failed = s.send(e)
		} else {
			e.bytes.Free()
		}
	}
	return failed
}

// send consumes the entry's reference.
func (s *subscription) send(e *entry) error {
	t := s.tracks[e.channel]
	if t == nil {
		e.bytes.Free()
		return nil
	}
	cut := uint64(0)
	if s.sequence != nil {
		lost, gone := t.startAt(*s.sequence, e)
		if gone {
			e.bytes.Free()
			return nil
		}
		if !t.open && e.first < *s.sequence {
			cut = *s.sequence - e.first
		}
		if err := s.tell(lost); err != nil {
			e.bytes.Free()
			return err
		}
	}
	if err := s.tell(t.pass(e)); err != nil {
		e.bytes.Free()
		return err
	}
	if cut == 0 && s.reducers == nil {
		return s.to.SendMsg(&encoded{e.bytes}) // gRPC takes the reference over
	}
	return s.sendDecoded(e.channel, e.bytes, int(cut))
}

// tell sends what was lost, if anything was.
func (s *subscription) tell(lost *ampledgerv1.Lost) error {
	if lost == nil {
		return nil
	}
	return s.to.Send(&ampledgerv1.StreamReadingsResponse{Item: &ampledgerv1.StreamReadingsResponse_Lost{Lost: lost}})
}

// sendDecoded sends a frame that is not sent as it is: without its first readings, or reduced.
func (s *subscription) sendDecoded(channel string, bytes mem.Buffer, cut int) error {
	frame, err := decode(bytes)
	bytes.Free()
	if err != nil {
		return errHub
	}
	cutFrame(frame, cut)
	if s.reducers == nil {
		return s.to.Send(&ampledgerv1.StreamReadingsResponse{Item: &ampledgerv1.StreamReadingsResponse_Frame{Frame: frame}})
	}
	return s.reducers[channel].add(frame, s.sendBucket)
}

func (s *subscription) sendBucket(b *ampledgerv1.Bucket) error {
	return s.to.Send(&ampledgerv1.StreamReadingsResponse{Item: &ampledgerv1.StreamReadingsResponse_Bucket{Bucket: b}})
}

// finish sends the last buckets and what was lost at the very end.
func (s *subscription) finish() error {
	for _, channel := range s.order {
		if r := s.reducers[channel]; r != nil {
			if err := r.finish(s.sendBucket); err != nil {
				return err
			}
		}
		if end, begun := s.hub.ends(channel); begun {
			if err := s.tell(s.tracks[channel].finish(end)); err != nil {
				return err
			}
		}
	}
	return nil
}

// cutFrame takes the first n readings off a frame.
func cutFrame(f *ampledgerv1.Frame, n int) {
	if n == 0 {
		return
	}
	forward := int64(n) * f.GetPeriodNanos()
	if f.GetPeriodNanos() == 0 {
		forward = f.GetOffsetNanos()[n]
		f.OffsetNanos = f.GetOffsetNanos()[n:]
		for k := range f.GetOffsetNanos() {
			f.OffsetNanos[k] -= forward
		}
	}
	f.FirstSequence += uint64(n)
	f.PrecedingCount += uint64(n)
	f.FirstWallNanos += forward
	f.FirstMonotonicNanos += forward
	f.CurrentAmperes, f.RawValues = f.GetCurrentAmperes()[n:], f.GetRawValues()[n:]
	if len(f.GetQualityBits()) > 0 {
		f.QualityBits = f.GetQualityBits()[n:]
	}
	if f.GetOffsetAgeNanos() >= 0 {
		f.OffsetAgeNanos += forward
	}
}
