package servicetest

import (
	"github.com/ampledger/ampledger/daemon/pipeline"
	"github.com/ampledger/ampledger/daemon/scan"
	"github.com/ampledger/ampledger/daemon/service"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// sink connects the rig's conductors to its services and its store.
type sink struct{ r *Rig }

// Readings implements pipeline.Sink.
func (s *sink) Readings(lane *pipeline.Lane, r *scan.Readings) {
	s.r.current[lane.Conductor].Hub.Publish(lane, r)
}

// Event implements pipeline.Sink.
func (s *sink) Event(event *ampledgerv1.Event) {
	s.r.Backend.Events.Raised(event)
	s.r.Recorder.Tell(event)
}

// Post implements pipeline.Sink.
func (s *sink) Post(p *pipeline.Posting) bool {
	return s.r.Recorder.Post(service.EntryOf(p))
}

// Keep implements pipeline.Sink: what a rig learns ends with it.
func (s *sink) Keep(string, *pipeline.Kept) {}

// Estimated implements pipeline.Sink.
func (s *sink) Estimated(r *ampledgerv1.EstimateRecord, _ bool) { s.r.Backend.Estimates.Tell(r) }

// Ended implements pipeline.Sink.
func (s *sink) Ended(conductor string) { s.r.current[conductor].Hub.End() }

// recorded tells subscribers what is on disk.
func recorded(events *service.Events) func([]*ampledgerv1.Event) {
	return func(changes []*ampledgerv1.Event) {
		for _, change := range changes {
			events.Recorded(change)
		}
	}
}
