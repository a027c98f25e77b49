package pipeline

import (
	"math"
	"slices"
	"time"

	"github.com/ampledger/ampledger/daemon/scan"
	"github.com/ampledger/ampledger/plugins/plugin"
	pluginv1 "github.com/ampledger/ampledger/proto/ampledger/plugin/v1"
)

// history is what an estimator has said, for comparisons: the newest answers, and counts since it began. Its run's lock guards it.
type history struct {
	answers []said // oldest first, at most retainedSummaries
	would   map[*Lane]*wouldBe

	answered uint64
	rests    uint64 // summaries that were certainly one
	noted    uint64

	took    time.Duration // for all answers
	longest time.Duration
}

// said is one answer.
type said struct {
	number   uint64 // of the summary
	at       scan.Clock
	channels []saidOf
}

// saidOf is an answer's part on one channel. Charge is in the sign of the readings, in coulombs.
type saidOf struct {
	lane              *Lane
	offset, deviation float64 // amperes
	later             float64 // what net, as it was counted, would have to be less by, had this estimator been in force
	laterDeviation    float64 // standard uncertainty of net then, noise apart
}

// wouldBe is what an estimator that states no correction of the charge would have subtracted, had its offsets been in force.
type wouldBe struct {
	newest    saidOf
	begun     bool
	applied   float64 // offset that was in force, up to its first summary
	coulombs  float64
	deviation float64
}

// note takes an answer in.
func (h *history) note(next *item, answer *plugin.Answer, newest map[*Lane]laneEstimate, took time.Duration) {
	h.answered++
	h.noted += uint64(len(answer.GetNotes()))
	h.took += took
	h.longest = max(h.longest, took)
	if next.summary.GetRest() == pluginv1.Rest_REST_CERTAIN {
		h.rests++
	}
	entry := said{number: next.number, at: next.made}
	for i := range next.stands {
		at := &next.stands[i]
		if e, has := newest[at.lane]; has {
			entry.channels = append(entry.channels, h.saidOf(at, next, &e))
		}
	}
	if len(h.answers) == retainedSummaries {
		h.answers = slices.Delete(h.answers, 0, retainedSummaries/4)
	}
	h.answers = append(h.answers, entry)
}

func (h *history) saidOf(at *stand, next *item, e *laneEstimate) saidOf {
	s := saidOf{lane: at.lane, offset: e.Amperes, deviation: e.Uncertainty, later: e.later, laterDeviation: e.uncertainty}
	if !e.said.known {
		s.later, s.laterDeviation = h.wouldBe(at, next.seconds(at.lane.Name), s)
	}
	return s
}

// wouldBe follows what would have been subtracted: over each summary, the offset that was known as it began.
func (h *history) wouldBe(at *stand, seconds float64, now saidOf) (later, deviation float64) {
	if h.would == nil {
		h.would = map[*Lane]*wouldBe{}
	}
	w := h.would[at.lane]
	if w == nil {
		w = &wouldBe{applied: at.before.applied}
		h.would[at.lane] = w
	}
	if w.begun {
		w.coulombs += w.newest.offset * seconds
		w.deviation += w.newest.deviation * seconds
	} else {
		w.coulombs += at.after.applied - at.before.applied // nothing was known yet: as it was counted
	}
	w.newest, w.begun = now, true
	return w.coulombs - (at.after.applied - w.applied), w.deviation
}

// seconds is the time a channel's integral covers in a summary.
func (i *item) seconds(channel string) float64 {
	for _, of := range i.summary.GetChannels() {
		if of.GetName() == channel {
			return of.GetIntegralSeconds()
		}
	}
	return 0
}

// of gives an answer's part on a channel.
func (s *said) of(lane *Lane) (of saidOf, has bool) {
	for _, each := range s.channels {
		if each.lane == lane {
			return each, true
		}
	}
	return saidOf{}, false
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
	Channels          []ChannelComparison
}

// ChannelComparison is one channel's part, over the summaries that both have answered in the span. Differences are its own less that in
// force. Charge is net, positive out of the pack.
type ChannelComparison struct {
	Lane            *Lane
	Summaries       int
	From, To        int64   // wall-clock time of the first and the last of them
	Offset          float64 // newest, amperes
	OffsetDeviation float64
	Difference      float64 // mean difference of the offset, amperes
	Scatter         float64 // its standard deviation
	Charge          float64 // what the net charge over the span would have been more, coulombs
	ChargeDeviation float64 // standard uncertainty of its own net charge, since it began, noise apart
}

// Compare holds every estimator against the one in force, over the answers from one wall-clock time to another that are still retained. The
// one in force comes first.
func (c *Conductor) Compare(fromWall, toWall int64) []Comparison {
	c.mu.Lock()
	current, shadows := c.estimation.current, slices.Clone(c.estimation.shadows)
	c.mu.Unlock()
	if current == nil {
		return nil
	}
	inForce := current.answers(fromWall, toWall)
	all := []Comparison{current.compare("", inForce, inForce, c.lanes)}
	for _, s := range shadows {
		all = append(all, s.compare(s.name, s.answers(fromWall, toWall), inForce, c.lanes))
	}
	return all
}

func (r *run) answers(fromWall, toWall int64) (answers []said) {
	r.mu.Lock()
	defer r.mu.Unlock()
	for _, each := range r.history.answers {
		if each.at.Wall >= fromWall && each.at.Wall <= toWall {
			answers = append(answers, each)
		}
	}
	return answers
}

func (r *run) compare(name string, own, inForce []said, lanes []*Lane) Comparison {
	status := r.status()
	r.mu.Lock()
	h := r.history
	r.mu.Unlock()
	comparison := Comparison{
		Shadow: name, Plugin: status.Plugin, Generation: status.Generation, PID: status.PID, Fault: status.Fault,
		Answered: h.answered, Skipped: status.Skipped, Rests: h.rests, Notes: h.noted, LongestLatency: h.longest,
	}
	if h.answered > 0 {
		comparison.MeanLatency = h.took / time.Duration(h.answered)
	}
	for _, lane := range lanes {
		if of, has := compareOn(lane, own, inForce); has {
			comparison.Channels = append(comparison.Channels, of)
		}
	}
	return comparison
}

// compareOn pairs the answers to the same summaries.
func compareOn(lane *Lane, own, inForce []said) (c ChannelComparison, has bool) {
	c.Lane = lane
	var differences spread
	var first, last [2]saidOf
	for i, k := 0, 0; i < len(own) && k < len(inForce); {
		switch {
		case own[i].number < inForce[k].number:
			i++
			continue
		case own[i].number > inForce[k].number:
			k++
			continue
		}
		a, hasA := own[i].of(lane)
		b, hasB := inForce[k].of(lane)
		if hasA && hasB {
			if c.Summaries == 0 {
				first, c.From = [2]saidOf{a, b}, own[i].at.Wall
			}
			last, c.To = [2]saidOf{a, b}, own[i].at.Wall
			c.Summaries++
			differences.add(a.offset - b.offset)
		}
		i, k = i+1, k+1
	}
	if c.Summaries == 0 {
		return c, false
	}
	c.Offset, c.OffsetDeviation, c.ChargeDeviation = last[0].offset, last[0].deviation, last[0].laterDeviation
	c.Difference = differences.mean
	if differences.count > 1 {
		c.Scatter = math.Sqrt(differences.squares / (differences.count - 1))
	}
	c.Charge = -lane.sign() * ((last[0].later - first[0].later) - (last[1].later - first[1].later))
	return c, true
}
