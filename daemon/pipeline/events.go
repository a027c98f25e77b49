package pipeline

import (
	"fmt"

	"google.golang.org/protobuf/proto"

	"github.com/ampledger/ampledger/daemon/guard"
	"github.com/ampledger/ampledger/daemon/scan"
	"github.com/ampledger/ampledger/plugins/plugin"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// eventBook turns what happens on a conductor into events with identifiers of their own.
type eventBook struct {
	config ConductorConfig
	sink   Sink
	faults uint64          // of plugins, so far
	stale  map[string]bool // channels whose staleness is raised
}

func newEventBook(config ConductorConfig, sink Sink) *eventBook {
	return &eventBook{config: config, sink: sink, stale: map[string]bool{}}
}

var eventStates = map[guard.State]ampledgerv1.EventState{
	guard.Raised:   ampledgerv1.EventState_EVENT_STATE_RAISED,
	guard.Operated: ampledgerv1.EventState_EVENT_STATE_OPERATED,
	guard.Cleared:  ampledgerv1.EventState_EVENT_STATE_CLEARED,
}

// guardChange tells one change of a guard element.
func (b *eventBook) guardChange(lane *Lane, c guard.Change) {
	if c.Kind == guard.KindStaleness {
		b.stale[lane.Name] = c.State != guard.Cleared
	}
	event := &ampledgerv1.Event{
		EventId: fmt.Sprintf("%s/%s/%s/%d", b.config.EventPrefix, b.config.Name, lane.Name, c.Event),
		State:   eventStates[c.State], Conductor: b.config.Name, Channel: lane.Name,
		Element: c.Name, Kind: c.Kind.String(), Direction: b.direction(c.Side), Settings: c.Settings,
		OnsetSequence: c.Onset.Sequence, OnsetWallNanos: c.Onset.Wall, OnsetMonotonicNanos: c.Onset.Monotonic,
		ChangeSequence: c.At.Sequence, ChangeWallNanos: c.At.Wall, ChangeMonotonicNanos: c.At.Monotonic,
		PeakAmperes: c.PeakAmperes, PeakUncertaintyAmperes: c.PeakUncertaintyAmperes,
		ChargeCoulombs: c.ChargeCoulombs, SquareAmpereSeconds: c.SquareAmpereSeconds,
		OffsetAmperes: c.Estimate.Offset, Estimator: c.Estimate.Estimator, EstimatorGeneration: c.Estimate.Generation,
		StaticOnly: c.Estimate.Stale || c.Estimate.Generation == 0, LowerBound: c.Railed,
	}
	b.sink.Event(event)
}

// direction says which way a side of the sign flows.
func (b *eventBook) direction(side guard.Side) ampledgerv1.Direction {
	switch {
	case side == guard.Either:
		return ampledgerv1.Direction_DIRECTION_BOTH
	case (side == guard.Positive) == b.config.ChargeIsPositive:
		return ampledgerv1.Direction_DIRECTION_CHARGE
	}
	return ampledgerv1.Direction_DIRECTION_DISCHARGE
}

// note tells what an estimator has to say.
func (b *eventBook) note(estimator string, n *plugin.Note, at *scan.Clock) {
	b.remark("note/"+estimator, at, &ampledgerv1.Event{Channel: n.GetChannel(), Element: n.GetSubject(), Estimator: estimator, Detail: n.GetText()})
}

// operator tells what an operator declared.
func (b *eventBook) operator(subject string, at *scan.Clock, detail string) {
	b.remark("operator", at, &ampledgerv1.Event{Element: subject, Detail: detail})
}

// remark tells an event that is raised and over at once.
func (b *eventBook) remark(source string, at *scan.Clock, event *ampledgerv1.Event) {
	b.faults++
	event.EventId = fmt.Sprintf("%s/%s/%s/%d", b.config.EventPrefix, b.config.Name, source, b.faults)
	event.State, event.Conductor, event.Kind = ampledgerv1.EventState_EVENT_STATE_RAISED, b.config.Name, "note"
	event.Direction = ampledgerv1.Direction_DIRECTION_BOTH
	event.OnsetSequence, event.OnsetWallNanos, event.OnsetMonotonicNanos = at.Sequence, at.Wall, at.Monotonic
	event.ChangeSequence, event.ChangeWallNanos, event.ChangeMonotonicNanos = at.Sequence, at.Wall, at.Monotonic
	b.sink.Event(event)
}

// fault is a plugin's failure as an event that is raised once and cleared once.
type fault struct {
	book  *eventBook
	event *ampledgerv1.Event
}

// fault raises an event about a plugin, kind "device" or "estimator".
func (b *eventBook) fault(kind, element string, sequence uint64, wall int64, detail string) *fault {
	f := b.newFault(kind, element, sequence, wall, detail)
	b.sink.Event(f.event)
	return f
}

// estimatorFault raises an event about an estimator that failed.
func (b *eventBook) estimatorFault(element string, r *run, at *scan.Clock) *fault {
	f := b.newFault("estimator", element, at.Sequence, at.Wall, r.failure().Error())
	f.event.Estimator, f.event.EstimatorGeneration = r.name(), r.generation
	b.sink.Event(f.event)
	return f
}

func (b *eventBook) newFault(kind, element string, sequence uint64, wall int64, detail string) *fault {
	b.faults++
	return &fault{b, &ampledgerv1.Event{
		EventId:   fmt.Sprintf("%s/%s/%s/%s/%d", b.config.EventPrefix, b.config.Name, kind, element, b.faults),
		State:     ampledgerv1.EventState_EVENT_STATE_RAISED,
		Conductor: b.config.Name, Element: element, Kind: kind, Direction: ampledgerv1.Direction_DIRECTION_BOTH,
		OnsetSequence: sequence, OnsetWallNanos: wall, ChangeSequence: sequence, ChangeWallNanos: wall, Detail: detail,
	}}
}

// operate tells that the plugin is given up.
func (f *fault) operate(sequence uint64, wall int64, detail string) {
	f.change(ampledgerv1.EventState_EVENT_STATE_OPERATED, sequence, wall, detail)
}

// clear tells that the plugin works again, or another in its place.
func (f *fault) clear(sequence uint64, wall int64) {
	f.change(ampledgerv1.EventState_EVENT_STATE_CLEARED, sequence, wall, "over: "+f.event.GetDetail())
}

func (f *fault) change(state ampledgerv1.EventState, sequence uint64, wall int64, detail string) {
	changed := proto.CloneOf(f.event)
	changed.State, changed.ChangeSequence, changed.ChangeWallNanos, changed.Detail = state, sequence, wall, detail
	f.book.sink.Event(changed)
}
