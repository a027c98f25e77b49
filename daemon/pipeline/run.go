package pipeline

import (
	"context"
	"maps"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"go.uber.org/zap"
	"google.golang.org/protobuf/proto"

	"github.com/ampledger/ampledger/daemon/comparison"
	"github.com/ampledger/ampledger/daemon/offset"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// run is one estimator process at work. Its lock is a leaf: it may be taken under the conductor's.
type run struct {
	candidate  Candidate
	started    Started
	generation uint64
	footings   map[*Lane]footing // of the state it was started with
	log        *zap.Logger
	to         Sink // nil = nobody
	conductor  string
	opening    uint64

	chargeIsPositive bool
	role             atomic.Pointer[role] // nil = it is a candidate
	places           map[string][]int     // by channel: where the play operators it wants stand in a channel's list
	end              context.CancelFunc   // of its goroutine
	ended            chan struct{}        // closed when its goroutine has ended
	answered         chan struct{}        // closed at its first answer
	failed           chan struct{}        // closed when it failed
	warmed           chan struct{}        // closed when it has answered what was retained, and anything at all
	advanced         chan struct{}        // holds a token when it has got on by a tenth with that
	toWarm           int                  // summaries that were retained

	mu      sync.Mutex
	backlog []item          // to be worked off before the queue
	queue   chan item       // with room for one question beside the summaries
	origins map[*Lane]point // where a channel stood when the estimator's first summary of it began
	newest  map[*Lane]laneEstimate
	fresh   bool                      // newest has something that was not taken yet
	errors  []*plugin.ErrorCovariance // newest word on how the channels' errors hang together
	notes   []*plugin.Note
	skipped uint64
	warmth  int // summaries answered
	fault   error

	answeredNumber uint64 // of the newest summary it answered
	history        history
}

// mostNotes is how many notes wait to be taken.
const mostNotes = 100

// laneEstimate is what an estimator said of a channel.
type laneEstimate struct {
	lane *Lane
	offset.Estimate
	corrected
	said corrected // its own word: later and uncertainty since its first summary
	at   point     // where the channel stood
}

func newRun(candidate Candidate, generation uint64, started Started, backlog []item) *run {
	return &run{
		candidate: candidate, started: started, generation: generation, backlog: backlog, end: func() {},
		queue: make(chan item, queuedSummaries+1), origins: map[*Lane]point{}, newest: map[*Lane]laneEstimate{},
		ended: make(chan struct{}), answered: make(chan struct{}), failed: make(chan struct{}),
		warmed: make(chan struct{}), advanced: make(chan struct{}, 1), toWarm: len(backlog),
	}
}

// offer queues a summary; if the estimator is too far behind it is skipped and counted.
func (r *run) offer(next item) (queued bool) {
	if !r.started.WantsReadings {
		next.full = nil
	}
	if next.full.size()*len(r.queue) <= mostReadings && r.queueUp(next) {
		return true
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.skipped++
	return false
}

func (r *run) queueUp(next item) (queued bool) {
	select {
	case r.queue <- next:
		return true
	default:
		return false
	}
}

// work answers summaries until ctx ends or the estimator fails.
func (r *run) work(ctx context.Context) error {
	for _, next := range r.backlog {
		if err := r.answer(ctx, next); err != nil {
			return err
		}
	}
	r.backlog = nil
	for {
		select {
		case <-ctx.Done():
			return nil
		case next := <-r.queue:
			if err := r.answer(ctx, next); err != nil {
				return err
			}
		}
	}
}

// answer gets one summary answered and keeps the estimates. An error is final, unless ctx ended.
func (r *run) answer(ctx context.Context, next item) error {
	if fault := r.failure(); fault != nil {
		return fault
	}
	if next.keep != nil {
		r.keepState(ctx, next.keep)
		return nil
	}
	began := time.Now()
	answer, err := r.started.Observe(ctx, r.summaryOf(next))
	if err != nil {
		if ctx.Err() == nil {
			r.fail(err)
		}
		return err
	}
	r.tell(r.keep(answer, next, time.Since(began)), next.due)
	if r.inForce() {
		next.tell(answer)
	}
	return nil
}

// inForce tells that it answers those who wait.
func (r *run) inForce() bool {
	role := r.role.Load()
	return role != nil && role.shadow == ""
}

// shadow is its name; empty = it is none.
func (r *run) shadow() string {
	if role := r.role.Load(); role != nil {
		return role.shadow
	}
	return ""
}

// summaryOf adds the play means and the readings the estimator asked for to a summary that others share. Where an operator was not yet
// driven then, or readings are not at hand, the channel has none.
func (r *run) summaryOf(next item) *plugin.Summary {
	full := r.started.WantsReadings && next.full != nil
	if len(r.places) == 0 && !full {
		return next.summary
	}
	own := proto.CloneOf(next.summary)
	if full {
		next.full.carry(own, next.stands)
	}
	for i, channel := range own.GetChannels() {
		means := make([]float64, 0, len(r.places[channel.GetName()]))
		for _, place := range r.places[channel.GetName()] {
			if place < len(next.stands[i].plays) {
				means = append(means, next.stands[i].plays[place])
			}
		}
		if len(means) == len(r.places[channel.GetName()]) {
			channel.PlayMeanRatios = means
		}
	}
	return own
}

// keep notes the answer to a summary and gives it as a record.
func (r *run) keep(answer *plugin.Answer, next item, took time.Duration) *comparison.Record {
	r.mu.Lock()
	defer r.mu.Unlock()
	before := maps.Clone(r.newest)
	r.answeredNumber = next.number
	for _, at := range next.stands {
		if _, known := r.origins[at.lane]; !known {
			r.origins[at.lane] = r.originOf(at)
		}
	}
	for _, e := range answer.GetChannels() {
		if at := next.of(e.GetName()); at != nil {
			said := corrected{later: e.GetCorrectionCoulombs(), uncertainty: e.GetCorrectionUncertaintyCoulombs(), known: e.GetCorrectionKnown()}
			r.newest[at.lane] = laneEstimate{at.lane, r.estimate(e, next), at.by(said, r.origins[at.lane]), said, at.after}
		}
	}
	if e, at := answer.GetFused(), next.of(Fused); e != nil && at != nil {
		said := corrected{later: e.GetCorrectionCoulombs(), uncertainty: e.GetCorrectionUncertaintyCoulombs(), known: true}
		r.newest[at.lane] = laneEstimate{lane: at.lane, corrected: at.by(said, r.origins[at.lane]), said: said, at: at.after}
	}
	r.errors = answer.GetCovariances()
	r.notes = append(r.notes, answer.GetNotes()...)
	r.notes = r.notes[max(0, len(r.notes)-mostNotes):] // of a shadow nobody takes them
	r.fresh = true
	record := r.record(&next, answer, before, took)
	r.history.note(record, len(answer.GetNotes()))
	r.warmUp()
	return record
}

// warmUp tells how far it has got with what was retained. The lock is held.
func (r *run) warmUp() {
	r.warmth++
	if r.warmth == 1 {
		close(r.answered)
	}
	if r.warmth == max(1, r.toWarm) {
		close(r.warmed)
	}
	if r.warmth*10/max(1, r.toWarm) > (r.warmth-1)*10/max(1, r.toWarm) {
		select {
		case r.advanced <- struct{}{}:
		default:
		}
	}
}

// fraction is how far it has got.
func (r *run) fraction() float64 {
	r.mu.Lock()
	defer r.mu.Unlock()
	return min(1, float64(r.warmth)/float64(max(1, r.toWarm)))
}

// originOf gives where the estimator's corrections of a channel count from.
func (r *run) originOf(at stand) point {
	if f, has := r.footings[at.lane]; has {
		return f.origin(at.before)
	}
	return at.before
}

func (r *run) estimate(e *plugin.ChannelEstimate, next item) offset.Estimate {
	return offset.Estimate{
		Amperes: e.GetOffsetAmperes(), Uncertainty: e.GetStandardUncertaintyAmperes(), WalkPerRootSecond: e.GetWalkAmperesPerRootSecond(),
		Made: next.made, Estimator: r.candidate.Program.Name(), Generation: r.generation,
	}
}

// of gives where a channel stood.
func (i *item) of(channel string) *stand {
	for k := range i.stands {
		if i.stands[k].lane.Name == channel {
			return &i.stands[k]
		}
	}
	return nil
}

// of gives what the estimator said of a channel last, if it did.
func (r *run) of(lane *Lane) (newest laneEstimate, has bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	newest, has = r.newest[lane]
	return newest, has
}

// take gives the newest estimates, and covariances, if any of them was not taken yet.
func (r *run) take() (newest []laneEstimate, covariances []*plugin.ErrorCovariance) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.fresh {
		r.fresh = false
		newest, covariances = slices.Collect(maps.Values(r.newest)), r.errors
	}
	return newest, covariances
}

// takeNotes gives what the estimator had to say since the last call.
func (r *run) takeNotes() []*plugin.Note {
	r.mu.Lock()
	defer r.mu.Unlock()
	notes := r.notes
	r.notes = nil
	return notes
}

func (r *run) fail(err error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.fault == nil {
		r.fault = err
		close(r.failed)
	}
}

func (r *run) failure() error {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.fault
}

// close ends the goroutine and the process and waits for both.
func (r *run) close() {
	r.end()
	<-r.ended
	if r.started.Observer != nil {
		r.started.Close()
	}
}
