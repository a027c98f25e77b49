package servicetest

import (
	"github.com/ampledger/ampledger/daemon/pipeline"
	"github.com/ampledger/ampledger/daemon/scan"
	"github.com/ampledger/ampledger/daemon/service"
	"github.com/ampledger/ampledger/daemon/store"
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
	entry := store.Entry{
		Conductor: p.Lane.Conductor, Channel: p.Lane.Name, Kind: store.Interval, Device: p.Lane.Device, Epoch: p.Epoch,
		FirstSequence: p.Counted.FirstSequence, LastSequence: p.Counted.LastSequence,
		FromWallNanos: p.Counted.FromWall, ToWallNanos: p.Counted.ToWall,
		FromMonotonicNanos: p.Counted.FromMonotonic, ToMonotonicNanos: p.Counted.ToMonotonic,
		Totals: service.EntryTotals(p.Counted), GainRatio: p.Counted.GainRatio, Reason: "interval",
	}
	var gaps []store.Gap
	for _, gap := range p.Gaps {
		gaps = append(gaps, service.EntryGap(gap))
	}
	return s.r.Recorder.Post(entry, gaps)
}

// Keep implements pipeline.Sink: what a rig learns ends with it.
func (s *sink) Keep(string, *pipeline.Kept) {}

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
