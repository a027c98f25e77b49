package daemon

import (
	"context"
	"time"

	"go.uber.org/zap"

	"github.com/ampledger/ampledger/daemon/pipeline"
	"github.com/ampledger/ampledger/daemon/scan"
	"github.com/ampledger/ampledger/daemon/service"
	"github.com/ampledger/ampledger/daemon/store"
	"github.com/ampledger/ampledger/daemon/trail"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// sink hands what the pipeline gives to the store and to the subscribers; nothing waits for the disk. An event is told as RAISED at once and as RECORDED when the recorder says that it is durable.
type sink struct {
	hubs     map[string]*service.Hub
	events   *service.Events
	recorder *store.Recorder
	store    *store.Store
	told     *told
	log      *zap.Logger

	estimates  *service.Estimates
	trail      *trail.Trail
	feeds      map[string]*service.Feed // by conductor: the rig that it keeps step with
	waveforms  *service.Waveforms
	recordings *recordings // nil = nothing is recorded
}

// Readings implements pipeline.Sink.
func (s *sink) Readings(lane *pipeline.Lane, r *scan.Readings) {
	s.hubs[lane.Conductor].Publish(lane, r)
	s.recordings.take(lane, r)
	if f := s.feeds[lane.Conductor]; f != nil {
		f.Aftermath.Readings(lane, r)
	}
}

// record tells an event and has it recorded.
func (s *sink) record(event *ampledgerv1.Event) {
	s.events.Raised(event) // first: the recorder may be quick
	s.recorder.Tell(event)
}

// Event implements pipeline.Sink.
func (s *sink) Event(event *ampledgerv1.Event) {
	if f := s.feeds[event.GetConductor()]; f != nil {
		f.Aftermath.Event(event)
	}
	s.tell(event)
}

// tell tells an event, whether it followed from readings or from what became of them.
func (s *sink) tell(event *ampledgerv1.Event) {
	s.record(event)
	s.waveforms.Watch(event)
	s.log.Info("event", zap.String("state", event.GetState().String()), zap.String("conductor", event.GetConductor()),
		zap.String("channel", event.GetChannel()), zap.String("element", event.GetElement()), zap.Float64("peak_amperes", event.GetPeakAmperes()),
		zap.String("detail", event.GetDetail()))
}

// Post implements pipeline.Sink.
func (s *sink) Post(p *pipeline.Posting) bool {
	post := func() bool { return s.recorder.Post(service.EntryOf(p)) }
	if p.Kind == pipeline.Commissioned {
		return s.told.post(p.Lane, p.Reason, post)
	}
	return post()
}

// Estimated implements pipeline.Sink.
func (s *sink) Estimated(record *ampledgerv1.EstimateRecord, recorded bool) {
	s.estimates.Tell(record)
	if recorded && s.trail != nil {
		s.trail.Take(record)
	}
}

// Ended implements pipeline.Sink.
func (s *sink) Ended(conductor string) { s.hubs[conductor].End() }

// recorderConfig connects the recorder to the subscribers, to what watches the disk, and to the log.
func recorderConfig(events *service.Events, posted *service.Posted, disk *diskWatch, log *zap.Logger) store.RecorderConfig {
	return store.RecorderConfig{
		OnPosted: func(newest uint64) {
			disk.works()
			posted.Tell(newest)
		},
		OnRecorded: func(recorded []*ampledgerv1.Event) {
			disk.works()
			for _, event := range recorded {
				events.Recorded(event)
			}
		},
		OnUnrecorded: func(event *ampledgerv1.Event, why error) {
			disk.unrecorded()
			log.Error("an event is not recorded", zap.String("event_id", event.GetEventId()), zap.Error(why))
		},
		OnFault: func(err error) {
			disk.failed(err)
			log.Error("the store failed", zap.Error(err))
		},
	}
}

// sequences gives out device sequences held in the store.
type sequences struct {
	store    *store.Store
	recorder *store.Recorder
}

// firstHold is how many sequences are held before a device starts; it holds more itself while it runs.
const firstHold = 1 << 20

// Begin implements pipeline.Sequences.
func (s *sequences) Begin(device string) (uint64, error) {
	ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
	defer cancel()
	first, err := s.store.NextSequence(ctx, device)
	if err != nil {
		return 0, err
	}
	return first, s.store.HoldSequences(ctx, device, first+firstHold)
}

// Hold implements pipeline.Sequences.
func (s *sequences) Hold(device string, through uint64) { s.recorder.Hold(device, through) }
