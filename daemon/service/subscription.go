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
	tracks   map[string]*track
	order    []string
	reducers map[string]*reducer // nil = every reading
}

func newSubscription(hub *Hub, lanes []*pipeline.Lane, request *ampledgerv1.StreamReadingsRequest, to sender) *subscription {
	s := &subscription{hub: hub, to: to, tracks: map[string]*track{}}
	var places map[string]place
	s.reader, places = hub.subscribe(request.GetFromOldest() || request.FromSequence != nil)
	if request.GetMaxRateHertz() > 0 {
		s.reducers = map[string]*reducer{}
	}
	for _, lane := range lanes {
		at, begun := places[lane.Name]
		s.tracks[lane.Name] = &track{channel: lane.Name, hub: hub, from: request.FromSequence, begun: begun, at: at}
		s.order = append(s.order, lane.Name)
		if s.reducers != nil {
			s.reducers[lane.Name] = newReducer(lane.Name, request.GetMaxRateHertz(), s.sendBucket)
		}
	}
	return s
}

func (s *subscription) close() { s.reader.close() }

// run sends until the subscriber leaves or no more will come.
func (s *subscription) run(ctx context.Context) error {
	entries := make([]entry, 0, batch)
	for {
		frames, more, err := s.reader.next(ctx, entries)
		if err != nil {
			return statusOf(err)
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
	t, reduced := s.tracks[e.channel], s.reducers[e.channel]
	if t == nil || t.before(e) && (reduced == nil || e.end().next != *t.from) {
		e.bytes.Free()
		return nil
	}
	if reduced != nil {
		return s.reduce(t, reduced, e)
	}
	cut := t.cut(e)
	if err := s.tell(t.pass(e)); err != nil {
		e.bytes.Free()
		return err
	}
	if cut == 0 {
		return s.to.SendMsg(&encoded{e.bytes}) // gRPC takes the reference over
	}
	frame, err := decodeLast(e.bytes)
	if err != nil {
		return err
	}
	cutFrame(frame, int(cut))
	return s.to.Send(&ampledgerv1.StreamReadingsResponse{Item: &ampledgerv1.StreamReadingsResponse_Frame{Frame: frame}})
}

// reduce sends the buckets that a frame completes. Of a frame before the subscriber's first reading it takes where that one joins.
func (s *subscription) reduce(t *track, to *reducer, e *entry) error {
	frame, err := decodeLast(e.bytes)
	if err != nil {
		return err
	}
	if t.before(e) {
		to.join(frame, e.epoch, int(e.count))
		return nil
	}
	if cut := int(t.cut(e)); cut > 0 {
		to.join(frame, e.epoch, cut)
		cutFrame(frame, cut)
	}
	if lost := t.pass(e); lost != nil {
		// The bucket ends before its time, so that what is lost lies between two of them.
		if err := to.finish(); err != nil {
			return err
		}
		if err := s.tell(lost); err != nil {
			return err
		}
	}
	return to.add(frame, e.epoch)
}

// tell sends what was lost, if anything was.
func (s *subscription) tell(lost *ampledgerv1.Lost) error {
	if lost == nil {
		return nil
	}
	return s.to.Send(&ampledgerv1.StreamReadingsResponse{Item: &ampledgerv1.StreamReadingsResponse_Lost{Lost: lost}})
}

func (s *subscription) sendBucket(b *ampledgerv1.Bucket) error {
	return s.to.Send(&ampledgerv1.StreamReadingsResponse{Item: &ampledgerv1.StreamReadingsResponse_Bucket{Bucket: b}})
}

// finish sends the last buckets and what was lost at the very end.
func (s *subscription) finish() error {
	for _, channel := range s.order {
		if r := s.reducers[channel]; r != nil {
			if err := r.finish(); err != nil {
				return err
			}
		}
		if err := s.tell(s.tracks[channel].finish()); err != nil {
			return err
		}
	}
	return s.hub.verdict()
}

// decodeLast decodes a frame and consumes the reference to its bytes.
func decodeLast(bytes mem.Buffer) (*ampledgerv1.Frame, error) {
	defer bytes.Free()
	frame, err := decode(bytes)
	return frame, statusOf(err)
}

// cutFrame takes the first n readings off a frame that has more.
func cutFrame(f *ampledgerv1.Frame, n int) {
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
	f.CurrentAmperes = f.GetCurrentAmperes()[n:]
	if len(f.GetRawValues()) > 0 {
		f.RawValues = f.GetRawValues()[n:]
	}
	if len(f.GetQualityBits()) > 0 {
		f.QualityBits = f.GetQualityBits()[n:]
	}
	if f.GetOffsetAgeNanos() >= 0 {
		f.OffsetAgeNanos += forward
	}
}
