package pipeline

import (
	"maps"
	"math"
	"time"

	"github.com/ampledger/ampledger/daemon/offset"
	"github.com/ampledger/ampledger/daemon/pluginhost"
)

// Kept is an estimator's state with where its channels stood when it was taken: enough to go on after a restart of the daemon as if the
// estimator had been there all along, though blind meanwhile. What it says of charge counts from the beginning of the ledger.
type Kept struct {
	Shadow   string                 `json:"shadow,omitempty"` // empty = of the one in force
	Plugin   string                 `json:"plugin"`
	State    []byte                 `json:"state"`
	Wall     int64                  `json:"wall_nanos"` // when it was taken, by the host's clock
	Channels map[string]KeptChannel `json:"channels"`

	ChargeIsPositive bool `json:"charge_is_positive"` // the sign of the readings then

	// Corrections are the changes in force when it was taken, by channel, as records: under others the state is of no use.
	Corrections map[string]uint64 `json:"corrections,omitempty"`

	// Apart says that another estimator was in force after this state was taken: what it corrected is not undone. Set before Restore.
	Apart bool `json:"-"`

	number uint64        // of the newest summary in the state; 0 = it is from before this run of the daemon
	away   time.Duration // from then to this run
}

// KeptChannel is a channel at the newest summary in the state. Charge is in the sign of the readings.
type KeptChannel struct {
	Known               bool          `json:"correction_known"`              // the estimator states a correction
	Correction          float64       `json:"correction_coulombs"`           // as the estimator said it
	CorrectionDeviation float64       `json:"correction_deviation_coulombs"` // its standard uncertainty
	Later               float64       `json:"later_coulombs"`                // to be subtracted from the ledger's net, by adjustments posted or to be posted
	Deviation           float64       `json:"deviation_coulombs"`            // standard uncertainty of the ledger's net from zero and gain
	Nanos               int64         `json:"duration_nanos"`                // time integrated, without that away
	Net                 int64         `json:"net_microcoulombs"`             // counted
	OffsetDeviation     float64       `json:"offset_deviation_amperes"`      // standard uncertainty of the offset
	GainRatio           float64       `json:"gain_ratio"`                    // and of the gain, relative
	Plays               []offset.Play `json:"plays"`                         // where the operators stand

	zero float64 // ZeroCoulombs of the account, in this run of the daemon
}

// footing is where a channel stood for an estimator whose state was kept, in the coordinates of this run of the daemon.
type footing struct {
	corrected
	said, deviation float64 // the correction the estimator stated then, and its standard uncertainty
	apart           bool    // others counted meanwhile, or summaries are missing: only what is learnt from here on counts
}

// footing translates. What was counted after the state was taken the estimator never saw: it may be off by the offset's and the gain's
// uncertainty, and nothing will be learnt of it.
func (l *Lane) footing(k KeptChannel) footing {
	unseen := 0.0
	if l.ledger.HeldNanos > k.Nanos { // the state is from before this run, and something was counted behind it
		unseen = k.OffsetDeviation*math.Max(0, float64(l.ledger.HeldNanos-k.Nanos)*1e-9) +
			k.GainRatio*math.Abs(coulombs(l.ledger.net()-k.Net))
	}
	return footing{
		corrected: corrected{
			later:       k.Later + l.sign()*coulombs(l.ledger.AdjustmentMicrocoulombs),
			uncertainty: k.Deviation + unseen - l.ledger.ZeroCoulombs, known: true, zero: k.zero,
		},
		said: k.Correction, deviation: k.CorrectionDeviation,
	}
}

// origin is where the estimator's word on the correction counts from, given where the channel stood when its first summary since began.
func (f *footing) origin(before point) point {
	if f.apart {
		before.later, before.uncertainty = before.later-f.said, before.uncertainty-f.deviation
		return before
	}
	missed := before.zero - f.zero
	if !before.known {
		missed = before.uncertainty
	}
	before.later, before.uncertainty = f.later-f.said, f.uncertainty-f.deviation+missed
	return before
}

// Restore hands over what was kept before this run of the daemon: Begin starts the same estimator with it. It must come after Resume and
// before Bind. The state is taken to be as old as the host's clock says.
func (c *Conductor) Restore(kept *Kept) {
	c.mu.Lock()
	defer c.mu.Unlock()
	kept.away = max(1, time.Duration(time.Now().UnixNano()-kept.Wall))
	c.estimation.kept[kept.Shadow] = kept
	for _, lane := range c.lanes {
		lane.plays.Resume(kept.Channels[lane.Name].Plays)
	}
}

// keptFor gives what is kept of an estimator, in the shadow or, without a name, in force; nil = nothing.
func (c *Conductor) keptFor(shadow string, candidate Candidate) *Kept {
	c.mu.Lock()
	defer c.mu.Unlock()
	if kept := c.estimation.kept[shadow]; kept != nil && kept.Plugin == candidate.Program.Name() && maps.Equal(kept.Corrections, c.corrections()) {
		return kept
	}
	return nil
}

// state is what the plugin gets of it.
func (k *Kept) state() pluginhost.Kept {
	if k == nil {
		return pluginhost.Kept{}
	}
	return pluginhost.Kept{State: k.State, Away: k.away}
}

// footings translates all of it.
func (c *Conductor) footings(k *Kept) map[*Lane]footing {
	footings := map[*Lane]footing{}
	if k == nil {
		return footings
	}
	// Summaries between the state and the oldest retained one were another's to correct.
	hole := len(c.estimation.retained) > 0 && c.estimation.retained[0].number > k.number+1
	for _, lane := range c.lanes {
		if of, has := k.Channels[lane.Name]; has && of.Known {
			f := lane.footing(of)
			f.apart = hole || k.Apart || k.ChargeIsPositive != lane.ChargeIsPositive
			footings[lane] = f
		}
	}
	return footings
}

func (l *Lane) keptChannel(e *laneEstimate, plays []offset.Play) KeptChannel {
	return KeptChannel{
		Known: e.said.known, Correction: e.said.later, CorrectionDeviation: e.said.uncertainty,
		Later: e.later - l.sign()*coulombs(l.ledger.AdjustmentMicrocoulombs), Deviation: e.uncertainty + l.ledger.ZeroCoulombs,
		Nanos: e.at.nanos + l.ledger.HeldNanos, Net: e.at.net + l.ledger.net(),
		OffsetDeviation: e.at.zeroNow, GainRatio: e.at.gainNow, Plays: plays, zero: e.at.zero,
	}
}
