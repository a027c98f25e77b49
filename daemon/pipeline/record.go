package pipeline

import (
	"math"
	"time"

	"google.golang.org/protobuf/proto"

	"github.com/ampledger/ampledger/daemon/comparison"
	"github.com/ampledger/ampledger/plugins/plugin"
	pluginv1 "github.com/ampledger/ampledger/proto/ampledger/plugin/v1"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// record puts an answer into the words of the API. before is what the estimator had said until then.
func (r *run) record(next *item, answer *plugin.Answer, before map[*Lane]laneEstimate, took time.Duration) *comparison.Record {
	record := &comparison.Record{
		Conductor: r.conductor, Plugin: r.candidate.Program.Name(), Generation: r.generation, OpeningSequence: r.opening,
		Device: next.summary.GetDevice(), ThroughSequence: next.made.Sequence, WallNanos: next.made.Wall, LatencyNanos: took.Nanoseconds(),
		Rest: next.summary.GetRest() == pluginv1.Rest_REST_CERTAIN, Outputs: r.derived(answer),
	}
	for i := range next.stands {
		at := &next.stands[i]
		e, has := r.newest[at.lane]
		if !has {
			continue
		}
		said := r.channelRecord(next, at, &e)
		if known, was := before[at.lane]; was && record.Rest {
			known.innovate(next, said)
		}
		record.Channels = append(record.Channels, said)
	}
	return record
}

func (r *run) channelRecord(next *item, at *stand, e *laneEstimate) *ampledgerv1.ChannelRecord {
	later, uncertainty := e.later, e.uncertainty
	if !e.said.known {
		later, uncertainty = r.history.wouldBe(at, next.channel(at.lane.Name).GetIntegralSeconds(), e)
	}
	return &ampledgerv1.ChannelRecord{
		Channel: at.lane.Name, OffsetKnown: at.lane.offset != nil, OffsetAmperes: e.Amperes, StandardUncertaintyAmperes: e.Uncertainty,
		ChargeChangeCoulombs: -at.lane.sign() * later, ChargeUncertaintyCoulombs: uncertainty,
	}
}

// innovate says how far the mean reading of a rest was off the offset that was known before, and how far it might have been: the offset's
// uncertainty, aged as the estimator said, and the mean's own.
func (e *laneEstimate) innovate(next *item, said *ampledgerv1.ChannelRecord) {
	of := next.channel(e.lane.Name)
	if of.GetReadingCount() < 2 || e.lane.offset == nil || e.Made.Epoch != next.made.Epoch {
		return
	}
	seconds := float64(next.made.Monotonic-e.Made.Monotonic) * 1e-9
	variance := e.Uncertainty*e.Uncertainty + e.WalkPerRootSecond*e.WalkPerRootSecond*max(0, seconds) +
		of.GetVarianceSquareAmperes()/float64(of.GetReadingCount())
	said.InnovationAmperes, said.InnovationUncertaintyAmperes = proto.Float64(of.GetMeanAmperes()-e.Amperes), math.Sqrt(variance)
}

// channel gives a channel's part of a summary; nil = it has none.
func (i *item) channel(name string) *plugin.ChannelSummary {
	for _, of := range i.summary.GetChannels() {
		if of.GetName() == name {
			return of
		}
	}
	return nil
}

// derived gives what an answer derives, each with the unit that was declared.
func (r *run) derived(answer *plugin.Answer) (all []*ampledgerv1.DerivedValue) {
	for _, v := range answer.GetOutputs() {
		for _, output := range r.started.Outputs {
			if output.GetName() == v.GetName() {
				all = append(all, &ampledgerv1.DerivedValue{
					Name: v.GetName(), Unit: output.GetUnit(), Value: v.GetValue(), UncertaintyValue: v.GetUncertaintyValue(),
				})
			}
		}
	}
	return all
}

// isRecordDue tells whether what is said to the summary that ends now is to be recorded: the first one, and one in so many ns.
func (s *side) isRecordDue(now, every int64) bool {
	if s.recordDue != 0 && now < s.recordDue && now >= s.recordDue-2*every {
		return false
	}
	s.recordDue = now + every
	return true
}

// role is what an estimator is to its conductor.
type role struct {
	shadow string // its name; empty = it is in force
}

// tell hands a record on, unless the estimator is a candidate that is still being warmed up. Recorded are those of summaries that are due.
func (r *run) tell(record *comparison.Record, due bool) {
	role := r.role.Load()
	if role == nil || r.to == nil {
		return
	}
	told := proto.CloneOf(record)
	told.Shadow = role.shadow
	r.to.Estimated(told, due)
}
