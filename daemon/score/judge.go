package score

import (
	"github.com/ampledger/ampledger/daemon/config"
	"github.com/ampledger/ampledger/daemon/pipeline"
	"github.com/ampledger/ampledger/daemon/scan"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// judge compares what the conductors give. It is the Sink of all of them, and the truth's conductor is always the first to be served.
type judge struct {
	truths map[*pipeline.Lane]*samples
	tracks map[*pipeline.Lane]*track
	order  []*track
	flows  *samples // the true current
	notes  []Note
}

// Readings implements pipeline.Sink.
func (j *judge) Readings(lane *pipeline.Lane, r *scan.Readings) {
	if truth := j.truths[lane]; truth != nil {
		truth.take(r)
	} else if track := j.tracks[lane]; track != nil {
		track.see(r, j.flows)
	}
}

// Event implements pipeline.Sink.
func (j *judge) Event(*ampledgerv1.Event) {}

// Post implements pipeline.Sink: there is no ledger to post to.
func (j *judge) Post(*pipeline.Posting) bool { return true }

// Keep implements pipeline.Sink: a run in lockstep keeps nothing.
func (j *judge) Keep(string, *pipeline.Kept) {}

// Estimated implements pipeline.Sink: what counts is what was made of it.
func (j *judge) Estimated(*ampledgerv1.EstimateRecord, bool) {}

// Ended implements pipeline.Sink.
func (j *judge) Ended(string) {}

// watchTruth notes the lanes of the truth's conductor: the current, then the offsets of the channels there.
func (j *judge) watchTruth(c *pipeline.Conductor) map[string]*samples {
	j.truths, j.tracks = map[*pipeline.Lane]*samples{}, map[*pipeline.Lane]*track{}
	offsets := map[string]*samples{}
	for i, lane := range c.Lanes() {
		of := &samples{}
		j.truths[lane] = of
		if i == 0 {
			j.flows = of
		} else {
			offsets[lane.Name] = of
		}
	}
	return offsets
}

// watch notes the lanes of a variant's conductor that can be scored.
func (j *judge) watch(c *pipeline.Conductor, p *Plan, label string, offsets map[string]*samples) {
	for i, lane := range c.Lanes() {
		if lane.Device != p.truth.channel.Device {
			continue
		}
		t := &track{score: Score{Channel: lane.Name, Estimator: label}, sign: 1, offset: offsets[lane.Name], offsetSign: 1}
		if i < len(p.scored.Channels) { // behind them comes the fused current
			t.offsetSign = signOf(p.scored.Channels[i])
		}
		if p.scored.Positive != p.truth.positive {
			t.sign = -1
		}
		j.tracks[lane] = t
		j.order = append(j.order, t)
	}
}

func signOf(ch config.Channel) float64 {
	if ch.Reversed {
		return -1
	}
	return 1
}
