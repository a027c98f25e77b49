package pipeline

import (
	"math"
	"slices"

	"github.com/ampledger/ampledger/daemon/charge"
	"github.com/ampledger/ampledger/daemon/guard"
	"github.com/ampledger/ampledger/daemon/offset"
	"github.com/ampledger/ampledger/daemon/scan"
	"github.com/ampledger/ampledger/daemon/sensor"
)

// LaneConfig is one channel.
type LaneConfig struct {
	Name            string
	SensorKind      string // "shunt", "magnetic" or "reported"
	Device          string
	Input           string
	GapBoundAmperes float64 // assumed while nothing is read; 0 = the full scale
	Guard           []guard.Setting

	// Sensor makes the channel's sensor when its driver has described the device's inputs.
	Sensor func(inputs Inputs) (sensor.Config, error)
}

// Lane is one channel on its way through the stages.
type Lane struct {
	LaneConfig
	Conductor        string
	ChargeIsPositive bool

	bound       bool          // the device has been described
	configured  sensor.Config // without what commissioning found
	correction  Correction    // which is this
	expired     *fault        // raised while it should be found anew; nil = it need not
	sensor      *sensor.Sensor
	temperature int
	offset      *offset.Stage
	guard       *guard.Guard
	tell        func(guard.Change)
	ledger      Ledger // what the ledger held before the pipeline began
	averaged    bool   // its readings are means
	account     *charge.Account
	tally       offset.Tally
	plays       offset.Plays
	tracing     bool // an estimator wants the readings of this summary
	trace       []float64
	summed      charge.Totals // the account when the newest summary ended
	standing    point         // and where it stood then
	corrected   corrected     // what was learned of its charge, as far as is known now
	readings    scan.Readings
	last        scan.Estimate
	total       uint64 // readings that came through, usable or not
	usable      uint64
	next        uint64 // sequence after the newest

	posted charge.Totals

	awayPosted bool
	adjusted   int64 // microcoulombs posted as adjustments, in the sign of net
	cutOver    cutOver
	started    bool
	due        int64 // monotonic time of the next posting
	epoch      uint64
}

// Ledger is what a channel's ledger held before this run of the daemon; the zero value is an empty one.
type Ledger struct {
	After                   *charge.After // where its account ended; nil = it never had a reading
	AdjustmentMicrocoulombs int64         // posted so far
	OutMicrocoulombs        int64         // counted, without adjustments
	InMicrocoulombs         int64         // likewise
	HeldNanos               int64         // integrated, without the time away
	ZeroCoulombs            float64       // standard uncertainty from the zero, as stated so far
}

// net is the charge out less the charge in, without adjustments.
func (l *Ledger) net() int64 { return l.OutMicrocoulombs - l.InMicrocoulombs }

// Preceding is how many readings of the lane came before the ones being published.
func (l *Lane) Preceding() uint64 { return l.total }

// bind makes the stages that depend on what the driver says of its inputs. Binding again, after a restart of the driver, keeps
// account and guard. unfounded takes a correction out that the description leaves no ground for.
func (l *Lane) bind(inputs Inputs, settings DeviceSettings, unfounded func(*Lane)) error {
	config, err := l.Sensor(inputs)
	if err != nil {
		return err
	}
	if _, err := sensor.New(config); err != nil {
		return err
	}
	l.configured = config
	unfounded(l)
	made, err := l.sensorWith(l.correction)
	if err != nil {
		return err
	}
	if l.account == nil {
		if l.account, err = l.newAccount(made, settings.GapNanos); err != nil {
			return err
		}
		if l.guard, err = guard.New(l.elements(settings)); err != nil {
			return err
		}
	}
	l.sensor, l.temperature, l.bound, l.averaged = made, config.Temperature, true, config.Averaged
	return nil
}

// elements are the configured ones and the two that every channel has.
func (l *Lane) elements(settings DeviceSettings) []guard.Setting {
	elements := slices.Clone(l.Guard)
	if !slices.ContainsFunc(elements, func(s guard.Setting) bool { return s.Saturation != nil }) {
		elements = append(elements, guard.Setting{Name: "saturated", Side: guard.Either, Saturation: &guard.Saturation{Scans: 1}})
	}
	return append(elements, guard.Setting{
		Name: "stale", Side: guard.Either, Staleness: &guard.Staleness{AfterSeconds: float64(settings.StaleNanos) * 1e-9},
	})
}

func (l *Lane) newAccount(s *sensor.Sensor, gapNanos int64) (*charge.Account, error) {
	config := charge.Config{GapNanos: gapNanos, ChargeIsPositive: l.ChargeIsPositive, After: l.ledger.After}
	config.BoundAmperes, config.SaturatedBoundAmperes = l.gapBounds(s)
	return charge.New(config)
}

// gapBounds settles how much current may have flowed while nothing was read. What saturates a sensor is beyond its full scale; by
// how much is not known, so unless a bound is configured twice the full scale is assumed.
func (l *Lane) gapBounds(s *sensor.Sensor) (silent, saturated float64) {
	full, known := s.FullScale()
	switch {
	case l.GapBoundAmperes > 0:
		return l.GapBoundAmperes, l.GapBoundAmperes
	case known:
		return full, 2 * full
	}
	// No limit is known at all: the gap hides anything, and an absurd bound says so where a zero would hide it.
	return math.MaxInt32, math.MaxInt32
}

// apply takes one span through the stages.
func (l *Lane) apply(span *scan.Frame, sink Sink) {
	r := &l.readings
	l.sensor.Apply(span, r)
	var temperature *scan.Column
	if l.temperature != sensor.None {
		temperature = &span.Columns[l.temperature]
	}
	l.tally.Add(r, temperature)
	l.plays.Add(r)
	l.keepTrace(r)
	l.offset.Apply(r)
	l.deliver(sink)
}

// deliver takes compensated readings on.
func (l *Lane) deliver(sink Sink) {
	r := &l.readings
	l.last, l.epoch = r.Estimate, r.Epoch
	l.guard.Apply(r, l.tell)
	l.account.Apply(r)
	sink.Readings(l, r)
	l.total += uint64(r.Len())
	l.usable += uint64(r.Usable)
	l.next = r.Sequence + uint64(r.Len())
}

// posts says when a channel's account is posted.
type posts struct {
	nanos         int64 // device time from one posting to the next, > 0
	microcoulombs int64 // or so much charge, out plus in, whichever comes first; 0 = no limit
}

// isDue tells whether a posting is due at monotonic time now.
func (l *Lane) isDue(now int64, every posts) bool {
	if !l.started {
		l.started, l.due = true, now+every.nanos
	}
	moved := l.account.Totals().Throughput() - l.posted.Throughput()
	return now >= l.due || now <= l.due-2*every.nanos || every.microcoulombs > 0 && moved >= every.microcoulombs
}

// post hands what was counted since the last posting to the sink, if it is due at monotonic time now or final, and anything was.
func (l *Lane) post(sink Sink, now int64, every posts, final bool) {
	if l.account == nil || !l.isDue(now, every) && !final {
		return
	}
	l.due = now + every.nanos
	if !l.postAway(sink) {
		return
	}
	totals := l.believed()
	counted := totals.Since(l.posted)
	if counted.Readings == 0 && counted.Lost == 0 && counted.Unusable == [len(scan.Causes)]uint64{} {
		return
	}
	if sink.Post(&Posting{
		Kind: Interval, Lane: l, Counted: counted, Gaps: l.gapsSincePosting(), Epoch: l.epoch, Estimator: l.last.Estimator, Generation: l.last.Generation,
		Reason: "interval",
	}) {
		l.posted = totals
	}
}

// postAway posts the time the daemon was away before its first reading, once, as a gap of its own. False = there was no room for it.
func (l *Lane) postAway(sink Sink) bool {
	gap := l.account.Away()
	if gap == nil || l.awayPosted {
		return true
	}
	away := charge.Totals{
		FirstSequence: gap.BeforeSequence, LastSequence: gap.BeforeSequence, FromWall: gap.FromWall, ToWall: gap.FromWall + gap.DurationNanos,
		DurationNanos: gap.DurationNanos, AwayNanos: gap.DurationNanos,
		GapCount: 1, GapNanos: gap.DurationNanos, GapBoundMicrocoulombs: gap.BoundMicrocoulombs,
	}
	l.awayPosted = sink.Post(&Posting{
		Kind: Gap, Lane: l, Counted: away, Gaps: []charge.Gap{*gap}, Epoch: l.epoch, Reason: "the daemon was away: nothing was read, no current is assumed",
	})
	if l.awayPosted {
		l.posted.DurationNanos, l.posted.AwayNanos = away.DurationNanos, away.AwayNanos
		l.posted.GapCount, l.posted.GapNanos, l.posted.GapBoundMicrocoulombs = away.GapCount, away.GapNanos, away.GapBoundMicrocoulombs
	}
	return l.awayPosted
}

func (l *Lane) gapsSincePosting() []charge.Gap {
	if l.account.Totals().GapCount == l.posted.GapCount {
		return nil
	}
	var gaps []charge.Gap
	away := l.account.Away()
	for _, gap := range l.account.LongestGaps() {
		if (away == nil || gap != *away) && (l.posted.Readings == 0 || gap.BeforeSequence >= l.posted.LastSequence) {
			gaps = append(gaps, gap)
		}
	}
	return gaps
}
