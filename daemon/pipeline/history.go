package pipeline

import (
	"math"
	"slices"
	"time"

	"github.com/ampledger/ampledger/daemon/comparison"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// history is what an estimator has said, for comparisons: the newest records, and counts since it began. Its run's lock guards it.
type history struct {
	records []*comparison.Record // oldest first, at most retainedSummaries
	would   map[*Lane]*wouldBe

	answered uint64
	rests    uint64 // summaries that were certainly one
	noted    uint64

	took    time.Duration // for all answers
	longest time.Duration
}

// note takes an answer in, with as many notes.
func (h *history) note(r *comparison.Record, notes int) {
	took := time.Duration(r.GetLatencyNanos())
	h.answered++
	h.noted += uint64(notes)
	h.took += took
	h.longest = max(h.longest, took)
	if r.GetRest() {
		h.rests++
	}
	if len(h.records) == retainedSummaries {
		h.records = slices.Delete(h.records, 0, retainedSummaries/4)
	}
	h.records = append(h.records, r)
}

// wouldBe is what an estimator that states no correction of the charge would have subtracted, had its offsets been in force.
type wouldBe struct {
	offset, uncertainty float64 // newest, amperes
	begun               bool
	applied             float64 // offset that was in force, up to its first summary
	coulombs            float64
	deviation           float64
}

// wouldBe follows what would have been subtracted: over each summary, the offset that was known as it began.
func (h *history) wouldBe(at *stand, seconds float64, now *laneEstimate) (later, deviation float64) {
	if h.would == nil {
		h.would = map[*Lane]*wouldBe{}
	}
	w := h.would[at.lane]
	if w == nil {
		w = &wouldBe{applied: at.before.applied}
		h.would[at.lane] = w
	}
	if w.begun {
		w.coulombs += w.offset * seconds
		w.deviation += w.uncertainty * seconds
	} else {
		w.coulombs += at.after.applied - at.before.applied // nothing was known yet: as it was counted
	}
	w.offset, w.uncertainty, w.begun = now.Amperes, now.Uncertainty, true
	return w.coulombs - (at.after.applied - w.applied), w.deviation
}

// Compare holds every estimator against the one in force, over the answers from one wall-clock time to another that are still retained. The
// one in force comes first, if there is one.
func (c *Conductor) Compare(fromWall, toWall int64) (all []Comparison) {
	histories := c.Histories()
	for i := range histories {
		histories[i].Records = between(histories[i].Records, fromWall, toWall)
	}
	inForce := inForceOf(histories)
	for i := range histories {
		all = append(all, histories[i].Against(inForce))
	}
	return all
}

func between(records []*comparison.Record, fromWall, toWall int64) (within []*comparison.Record) {
	for _, r := range records {
		if r.GetWallNanos() >= fromWall && r.GetWallNanos() <= toWall {
			within = append(within, r)
		}
	}
	return within
}

// History is an estimator with what it has said.
type History struct {
	Comparison                      // without channels and outputs
	Records    []*comparison.Record // oldest first; not to be changed
}

// Comparison is how an estimator did beside the one in force.
type Comparison struct {
	Shadow     string // its name; empty = it is in force
	Plugin     string
	Generation uint64
	PID        int
	Fault      error

	Answered, Skipped uint64 // summaries
	Rests, Notes      uint64
	MeanLatency       time.Duration // of its answers
	LongestLatency    time.Duration
	Channels          []*ampledgerv1.ChannelComparison
	Outputs           []*ampledgerv1.DerivedComparison
}

// Against holds it against what the estimator in force said.
func (h *History) Against(inForce []*comparison.Record) Comparison {
	compared := h.Comparison
	compared.Channels, compared.Outputs = comparison.Hold(h.Records, inForce)
	return compared
}

// inForceOf gives what the one in force has said; nil if none is.
func inForceOf(histories []History) []*comparison.Record {
	if len(histories) == 0 || histories[0].Shadow != "" {
		return nil
	}
	return histories[0].Records
}

// Histories gives what is retained of what each estimator has said. The one in force comes first, if there is one.
func (c *Conductor) Histories() []History {
	c.mu.Lock()
	current, shadows := c.estimation.current, slices.Clone(c.estimation.shadows)
	c.mu.Unlock()
	var all []History
	if current != nil {
		all = append(all, current.said(""))
	}
	for _, s := range shadows {
		all = append(all, s.said(s.name))
	}
	return all
}

func (r *run) said(shadow string) History {
	status := r.status()
	r.mu.Lock()
	defer r.mu.Unlock()
	h := &r.history
	said := History{
		Comparison: Comparison{
			Shadow: shadow, Plugin: status.Plugin, Generation: status.Generation, PID: status.PID, Fault: status.Fault,
			Answered: h.answered, Skipped: status.Skipped, Rests: h.rests, Notes: h.noted, LongestLatency: h.longest,
		},
		Records: slices.Clone(h.records),
	}
	if h.answered > 0 {
		said.MeanLatency = h.took / time.Duration(h.answered)
	}
	return said
}

// Oldest is the wall-clock time of the oldest summary that is retained; the greatest there is if none is.
func (c *Conductor) Oldest() int64 {
	c.mu.Lock()
	defer c.mu.Unlock()
	if len(c.estimation.retained) == 0 {
		return math.MaxInt64
	}
	return c.estimation.retained[0].made.Wall
}
