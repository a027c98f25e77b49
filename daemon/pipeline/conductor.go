package pipeline

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"

	"go.uber.org/zap"

	"github.com/ampledger/ampledger/daemon/charge"
	"github.com/ampledger/ampledger/daemon/guard"
	"github.com/ampledger/ampledger/daemon/offset"
	"github.com/ampledger/ampledger/daemon/scan"
	"github.com/ampledger/ampledger/plugins/plugin"
	pluginv1 "github.com/ampledger/ampledger/proto/ampledger/plugin/v1"
)

// ConductorConfig is one conductor.
type ConductorConfig struct {
	Name              string
	ChargeIsPositive  bool
	ChargeFrom        string
	Lanes             []LaneConfig
	Fused             *LaneConfig // the combination of all lanes, which are of one device then; nil = there is none
	Contactor         *Contactor
	CapacityCoulombs  float64 // rated, of what it belongs to, for its estimators; 0 = not known
	PostNanos         int64   // device time from one posting to the next, > 0
	PostMicrocoulombs int64   // or so much charge, out plus in, whichever comes first; 0 = no limit

	AdjustMicrocoulombs int64  // by more than this a correction of the charge must move to be posted, ≥ 0
	EventPrefix         string // makes event identifiers unique for ever
	Opening             uint64 // counts the starts of the daemon
	MostShadows         int    // estimators beside the one in force
	RecordNanos         int64  // device time from one recorded estimate to the next, > 0
	Lockstep            bool   // wait for each estimate
	Start               Start  // starts estimators
	MostFailures        int    // of the estimator without an hour of work between them, after which it is not started again; 0 = 10
	Expected            bool   // Begin will be called; until it has been, there is nothing to swap
	Log                 *zap.Logger
}

// Contactor is the input that is not zero while the conductor is interrupted.
type Contactor struct{ Device, Input string }

// Conductor is one current path with its lanes, its estimator and its lock. Its methods are safe for concurrent use.
type Conductor struct {
	config ConductorConfig
	sink   Sink
	lanes  []*Lane
	events *eventBook
	open   context.Context // ends when the conductor is closed
	close  context.CancelFunc

	mu         sync.Mutex // held while a frame goes through, and never while a plugin is waited for (but in lockstep)
	sides      []*side
	estimation estimation
	declared   *declaration // a window without current that is open; nil = none
	measured   *measurement // going on; nil = none
	marks      []*mark      // to go with the next summary
	marked     int64        // wall-clock time of the newest mark taken
}

// side is what a conductor has on one device.
type side struct {
	device       string
	summaryScans uint64
	lanes        []*Lane
	accounts     []*Lane // these, and the fused one
	fused        *fused  // nil = there is none
	contactor    int     // column, or −1
	cut          scan.Frame
	open         openSummary
	backwards    *fault // raised while its time runs backwards
	wall         wallClock
	keepDue      int64 // monotonic time from which the estimator's state is to be kept again
	recordDue    int64 // and from which what estimators say is to be recorded
	gathering    gathering
	ended        bool
}

// openSummary is the summary being gathered.
type openSummary struct {
	begun       bool
	block       uint64
	first, last scan.Clock
	rest        restTally
	backwards   bool // the time of a scan in it ran backwards
	scans       int
	measured    int // of these, lie in the time of a measurement
}

// NewConductor makes a conductor. It starts nothing.
func NewConductor(config ConductorConfig, sink Sink) (*Conductor, error) {
	c := &Conductor{config: config, sink: sink, events: newEventBook(config, sink)}
	c.open, c.close = context.WithCancel(context.Background())
	c.estimation.init(config)
	for _, laneConfig := range config.all() {
		if _, err := guard.New(laneConfig.Guard); err != nil {
			return nil, fmt.Errorf("channel %s: guard: %w", laneConfig.Name, err)
		}
		lane := &Lane{LaneConfig: laneConfig, Conductor: config.Name, ChargeIsPositive: config.ChargeIsPositive, correction: Uncorrected()}
		lane.tell = func(change guard.Change) { c.events.guardChange(lane, change) }
		c.lanes = append(c.lanes, lane)
	}
	return c, nil
}

// all gives the channels, the fused one last.
func (c *ConductorConfig) all() []LaneConfig {
	if c.Fused == nil {
		return c.Lanes
	}
	return append(slices.Clone(c.Lanes), *c.Fused)
}

func (c *ConductorConfig) posts() posts { return posts{c.PostNanos, c.PostMicrocoulombs} }

// Name is the conductor's name.
func (c *Conductor) Name() string { return c.config.Name }

// Resume says what a channel's ledger holds already: the time since then becomes a gap. It must come before the first Bind.
func (c *Conductor) Resume(channel string, ledger Ledger) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, lane := range c.lanes {
		if lane.Name == channel {
			lane.ledger = ledger
		}
	}
}

// Uses tells whether the conductor has anything on a device.
func (c *Conductor) Uses(device string) bool {
	return c.config.Contactor != nil && c.config.Contactor.Device == device ||
		slices.ContainsFunc(c.config.Lanes, func(l LaneConfig) bool { return l.Device == device })
}

// Bind tells the conductor what a device's driver describes. It must come before the device's first frame; binding again, after a restart
// of the driver, keeps accounts and guards.
func (c *Conductor) Bind(inputs Inputs, settings DeviceSettings) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	s := c.side(inputs.Device)
	if s == nil {
		s = &side{device: inputs.Device, summaryScans: settings.SummaryScans}
		c.sides = append(c.sides, s)
		for _, lane := range c.measuring() {
			if lane.Device == inputs.Device {
				lane.offset = offset.New(settings.SummaryScans, settings.EstimateStaleNanos)
				s.lanes = append(s.lanes, lane)
			}
		}
	}
	s.ended = false
	return c.bindSide(s, inputs, settings)
}

func (c *Conductor) bindSide(s *side, inputs Inputs, settings DeviceSettings) error {
	var faults []error
	for _, lane := range s.lanes {
		if err := lane.bind(inputs, settings, c.dropUnfounded); err != nil {
			faults = append(faults, fmt.Errorf("conductor %s, channel %s: %w", c.config.Name, lane.Name, err))
		}
	}
	s.contactor = -1
	if k := c.config.Contactor; k != nil && k.Device == s.device {
		column, _, err := inputs.Find(k.Input)
		if err != nil {
			faults = append(faults, fmt.Errorf("conductor %s, contactor: %w", c.config.Name, err))
		}
		s.contactor = column
	}
	if len(faults) == 0 {
		faults = append(faults, c.bindFused(s, settings))
	}
	return errors.Join(faults...)
}

// bindFused makes the fused channel when its channels have been bound for the first time.
func (c *Conductor) bindFused(s *side, settings DeviceSettings) (err error) {
	if s.accounts != nil {
		return nil
	}
	s.accounts = s.lanes
	if c.config.Fused == nil || len(s.lanes) == 0 {
		return nil
	}
	if len(s.lanes) != len(c.measuring()) {
		return fmt.Errorf("conductor %s: only channels of one device can be fused", c.config.Name)
	}
	for _, lane := range s.lanes[1:] {
		if lane.averaged != s.lanes[0].averaged {
			return fmt.Errorf("conductor %s: %s gives means and %s samples, or the reverse: they are not of the same instants and cannot be fused",
				c.config.Name, s.lanes[0].Name, lane.Name)
		}
	}
	lane := c.lanes[len(c.lanes)-1]
	s.fused, err = newFused(lane, s.lanes, settings)
	s.accounts = append(slices.Clone(s.lanes), lane)
	return err
}

func (c *Conductor) fused() *fused {
	for _, s := range c.sides {
		if s.fused != nil {
			return s.fused
		}
	}
	return nil
}

// measuring gives the lanes that read a channel.
func (c *Conductor) measuring() []*Lane { return c.lanes[:len(c.config.Lanes)] }

func (c *Conductor) side(device string) *side {
	for _, s := range c.sides {
		if s.device == device {
			return s
		}
	}
	return nil
}

// Apply takes one frame of a device through all stages.
func (c *Conductor) Apply(ctx context.Context, device string, f *scan.Frame) {
	c.mu.Lock()
	defer c.mu.Unlock()
	s := c.side(device)
	for i := 0; i < f.Count; {
		due := s.summaryScans - (f.Sequence+uint64(i))%s.summaryScans
		j := i + int(min(due, uint64(f.Count-i)))
		span := f
		if i > 0 || j < f.Count {
			f.Cut(i, j, &s.cut)
			span = &s.cut
		}
		c.span(ctx, s, span)
		i = j
	}
}

// span takes scans of one summary through.
func (c *Conductor) span(ctx context.Context, s *side, span *scan.Frame) {
	block := span.Sequence / s.summaryScans
	if s.open.begun && (block != s.open.block || span.Epoch != s.open.first.Epoch) {
		c.closeSummary(ctx, s) // scans were lost at its end
	}
	begins := !s.open.begun
	if begins {
		s.open = openSummary{begun: true, block: block, first: momentOf(span, 0)}
		s.gathering.begin(c.estimation.wantsReadings() || c.declared != nil || c.measured != nil, s.lanes)
		c.takeEstimates()
	}
	for _, lane := range s.lanes {
		lane.apply(span, c.sink)
	}
	if s.fused != nil {
		s.fused.apply(begins, c.sink)
	}
	s.gathering.add(span, s.open.first.Monotonic)
	c.watchClock(s, span)
	s.open.scans += span.Count
	s.open.measured += c.measured.covers(s, span, c.devices())
	c.estimation.contactor.see(s.contactor, span, c.declared.covers(s, span, c.devices()), &s.open.rest)
	s.open.last = momentOf(span, span.Count-1)
	if (span.Sequence+uint64(span.Count))%s.summaryScans == 0 {
		c.closeSummary(ctx, s)
	}
}

// momentOf is the time of one scan, without the memory of its frame, which its driver may use again.
func momentOf(f *scan.Frame, k int) scan.Clock {
	return scan.Clock{Epoch: f.Epoch, Sequence: f.Sequence + uint64(k), Wall: f.WallAt(k), Monotonic: f.At(k)}
}

// watchClock makes an event of a device whose time runs backwards, from the first scan that does to the end of the first summary in which
// none does.
func (c *Conductor) watchClock(s *side, span *scan.Frame) {
	k := slices.IndexFunc(span.Flags, func(q scan.Quality) bool { return q&scan.TimeBackwards != 0 })
	if k < 0 {
		return
	}
	s.open.backwards = true
	if s.backwards == nil {
		s.backwards = c.events.fault("device", s.device, span.Sequence+uint64(k), span.WallAt(k),
			"its time runs backwards: these readings are counted and not integrated until it is beyond where it was, or a new time base begins")
	}
}

// closeSummary hands the gathered summary to the estimators and posts what is due.
func (c *Conductor) closeSummary(ctx context.Context, s *side) {
	next := c.summarise(s)
	c.declared.gather(&next, c.estimation.number+1, s.open.first, &s.open.rest)
	c.measured.gather(s, &next)
	if !c.estimation.wantsReadings() {
		next.full = nil // it was gathered for a window or a measurement
	}
	c.carryMarks(s, &next)
	c.estimation.observe(ctx, &next)
	if c.estimation.lockstep {
		c.takeEstimates()
	}
	if s.backwards != nil && !s.open.backwards {
		s.backwards.clear(next.made.Sequence, next.made.Wall)
		s.backwards = nil
	}
	resting := next.summary.GetRest() == pluginv1.Rest_REST_CERTAIN
	for _, lane := range s.accounts {
		lane.adjust(c.sink, c.config.AdjustMicrocoulombs, resting, false)
		lane.post(c.sink, next.made.Monotonic, c.config.posts(), false)
	}
	c.watchWall(s, next.made)
	c.watchExpiry(s, next.made)
	c.keepDue(s, next.made.Monotonic)
	s.open = openSummary{}
}

// summarise takes the gathered summary and where its channels stand.
func (c *Conductor) summarise(s *side) item {
	next := item{made: s.open.last, summary: &plugin.Summary{
		Device: s.device, FirstSequence: s.open.first.Sequence, LastSequence: s.open.last.Sequence,
		FirstMonotonicNanos: s.open.first.Monotonic, LastMonotonicNanos: s.open.last.Monotonic,
		Rest: s.open.rest.verdict(),
	}}
	for _, lane := range s.lanes {
		summary, at := lane.summarise()
		next.summary.Channels = append(next.summary.Channels, summary)
		next.stands = append(next.stands, at)
	}
	if s.fused != nil {
		summary, at := s.fused.summarise(next.summary.GetChannels())
		next.summary.Fused, next.stands = summary, append(next.stands, at)
	}
	if counted := c.counted(); counted != nil && counted.Device == s.device {
		next.summary.Charge = counted.charge()
	}
	next.full, next.due = s.gathering.take(s.lanes), s.isRecordDue(next.made.Monotonic, c.config.RecordNanos)
	return next
}

// Silent says that nothing has come from a device for so many ns; wall is the present.
func (c *Conductor) Silent(device string, wall, silence int64) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, lane := range c.lanes {
		if lane.Device == device && lane.guard != nil {
			lane.guard.Silent(wall, silence, lane.tell)
		}
	}
}

// End says that a device has come to its end: its open summary is closed and its accounts are posted.
func (c *Conductor) End(ctx context.Context, device string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	s := c.side(device)
	if s == nil || s.ended {
		return
	}
	s.ended = true
	c.flush(ctx, s)
	c.declared.end(s, c.devices())
	c.measured.end(s, c.devices())
	if len(c.sides) == c.devices() && !slices.ContainsFunc(c.sides, func(s *side) bool { return !s.ended }) {
		c.sink.Ended(c.config.Name)
	}
}

// devices counts the devices the conductor has anything on.
func (c *Conductor) devices() int {
	names := map[string]bool{}
	for _, lane := range c.config.Lanes {
		names[lane.Device] = true
	}
	if c.config.Contactor != nil {
		names[c.config.Contactor.Device] = true
	}
	return len(names)
}

// Post ends the open summaries, waits, no longer than ctx, until the estimator in force has answered and its state is kept, and posts all
// that was counted, due or not. For when no more readings come.
func (c *Conductor) Post(ctx context.Context) {
	c.closeSummaries(ctx)
	if !c.config.Lockstep {
		c.keepNow(ctx)
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.takeEstimates()
	for _, s := range c.sides {
		c.postSide(s)
	}
}

func (c *Conductor) closeSummaries(ctx context.Context) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, s := range c.sides {
		if s.open.begun {
			c.closeSummary(ctx, s)
		}
	}
}

func (c *Conductor) flush(ctx context.Context, s *side) {
	if s.open.begun {
		c.closeSummary(ctx, s)
	}
	c.postSide(s)
}

func (c *Conductor) postSide(s *side) {
	for _, lane := range s.accounts {
		lane.adjust(c.sink, 0, false, true)
		lane.post(c.sink, lane.due, c.config.posts(), true)
	}
}

// Account is what one lane counted since the pipeline began.
type Account struct {
	Lane       *Lane
	Total      charge.Totals // with the uncertainty that is known now
	Adjustment int64         // microcoulombs to be added to net, as far as is known now
	Gaps       []charge.Gap
}

// Accounts gives what each lane counted, all at one moment between two frames.
func (c *Conductor) Accounts() []Account {
	c.mu.Lock()
	defer c.mu.Unlock()
	accounts := c.accounts()
	for i := range accounts {
		if counting := accounts[i].Lane.account; counting != nil {
			accounts[i].Gaps = counting.LongestGaps()
		}
	}
	return accounts
}

// Counted is Accounts without the gaps, for whoever asks often.
func (c *Conductor) Counted() []Account {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.accounts()
}

func (c *Conductor) accounts() (accounts []Account) {
	for _, lane := range c.lanes {
		account := Account{Lane: lane}
		if lane.account != nil {
			account.Total, account.Adjustment = lane.believed(), lane.adjustment()
		}
		accounts = append(accounts, account)
	}
	return accounts
}

// ChargeFrom is the channel the conductor's charge is taken from.
func (c *Conductor) ChargeFrom() string { return c.config.ChargeFrom }

// ChargeIsPositive tells which direction has the positive sign.
func (c *Conductor) ChargeIsPositive() bool { return c.config.ChargeIsPositive }

// Lanes gives the channels, in the order of the configuration.
func (c *Conductor) Lanes() []*Lane { return c.lanes }
