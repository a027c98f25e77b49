package pipeline

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"go.uber.org/zap"

	"github.com/ampledger/ampledger/daemon/charge"
	"github.com/ampledger/ampledger/daemon/scan"
	"github.com/ampledger/ampledger/daemon/sensor"
)

// The reasons why a correction is not put in force.
var (
	ErrChannelUnknown = errors.New("there is no such channel")
	ErrCorrection     = errors.New("the channel cannot be corrected so")
	ErrLedgerFull     = errors.New("the ledger has no room for the entry: try again later")
)

// Correction is what commissioning found of a channel and was put in force.
type Correction struct {
	sensor.Correction
	Record  uint64 // of the change that put it in force first; 0 = none: the configuration alone
	Expires int64  // wall-clock time from which an event warns that it should be found anew; 0 = never
	Basis   string // the conversion it was found on, as Basis gives it; on another one it is not put in force
	Name    string // what a ledger entry calls the record of the newest change
}

// Uncorrected is the configuration alone.
func Uncorrected() Correction { return Correction{Correction: sensor.NoCorrection} }

// Correct says what is in force on a channel from before this run of the daemon. It must come before the first Bind.
func (c *Conductor) Correct(channel string, correction Correction) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, lane := range c.measuring() {
		if lane.Name == channel {
			lane.correction = correction
		}
	}
}

// Basis describes how the configuration and the driver have a channel's raw values converted: what any correction rests on.
func (c *Conductor) Basis(channel string) (string, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	lane, err := c.lane(channel)
	if err != nil {
		return "", err
	}
	return lane.basis(), nil
}

// basis names the sensor, too: another input is another sensor, and a drift needs the temperature that was wired.
func (l *Lane) basis() string {
	s := &l.configured
	basis := fmt.Sprintf("input %s of %s, temperature wired: %t; ", l.Input, l.Device, s.Temperature != sensor.None)
	basis += fmt.Sprintf("%T %+v; %g V/count, %g V at count 0; reversed: %t; (x - %g)/%g", s.Model, s.Model, s.VoltsPerCount, s.ZeroCountVolts, s.Reversed,
		s.CalibrationA0, s.CalibrationA1)
	if s.Heating != nil {
		basis += fmt.Sprintf("; heating %+v", *s.Heating)
	}
	return basis
}

// ConfiguredUncertainty gives the standard uncertainties of a channel's zero and gain as the configuration alone states them; 0 and 0 before its device is described.
func (c *Conductor) ConfiguredUncertainty(channel string) (zeroAmperes, gainRatio float64) {
	c.mu.Lock()
	defer c.mu.Unlock()
	lane, err := c.lane(channel)
	if err != nil {
		return 0, 0
	}
	return lane.configured.ZeroAmperes, lane.configured.GainRatio
}

// dropUnfounded takes a correction out of force that was found on another conversion than there is now, or that cannot be made on it: the
// channel is read without it rather than not at all. The entry and the event say so.
func (c *Conductor) dropUnfounded(lane *Lane) {
	old := lane.correction
	why := "it was found on another conversion by the configuration"
	if old.Record != 0 && old.Basis == lane.basis() {
		_, err := lane.sensorWith(old)
		if err == nil {
			return
		}
		why = err.Error()
	}
	if old.Record == 0 {
		return
	}
	if lane.account != nil { // it was in force until now: what was counted so is posted as such
		c.postAll()
	}
	if lane.expired != nil {
		lane.expired.clear(c.now().Sequence, c.now().Wall)
		lane.expired = nil
	}
	lane.correction = Uncorrected()
	reason := fmt.Sprintf("%s: not in force any more: %s; calibrate anew", old.Name, why)
	c.events.fault("calibration", lane.Name, 0, c.now().Wall, reason)
	if !c.sink.Post(lane.commissioned(c.now(), reason)) {
		c.config.Log.Error("the ledger has no room for what the log says", zap.String("channel", lane.Name), zap.String("reason", reason))
	}
}

// lane gives a lane that reads a channel and is bound.
func (c *Conductor) lane(channel string) (*Lane, error) {
	i := slices.IndexFunc(c.measuring(), func(l *Lane) bool { return l.Name == channel })
	if i < 0 {
		return nil, fmt.Errorf("%w: %s", ErrChannelUnknown, channel)
	}
	if !c.lanes[i].bound {
		return nil, fmt.Errorf("%w: its driver has not described the device yet", ErrCorrection)
	}
	return c.lanes[i], nil
}

// sensorWith makes the lane's sensor anew, with a correction.
func (l *Lane) sensorWith(correction Correction) (*sensor.Sensor, error) {
	config := l.configured
	config.Correction = &correction.Correction
	made, err := sensor.New(config)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrCorrection, err)
	}
	return made, nil
}

// Keep stores a correction before it is put in force, fills in what it is called from then on, and gives the reason for the ledger.
type Keep func(correction *Correction) (reason string, err error)

// Commission puts a correction in force on a channel between two frames, in the place of the one before: the summary that is open is closed, what was
// counted is posted, and an entry of its own says that what follows is counted otherwise. Estimators work on what the sensor
// makes, so those of the conductor begin anew, without what they knew and without what was retained; until they have answered, readings are
// statically compensated. It gives the first sequence that is converted so. On an error nothing has changed. Keep is called once, and only when nothing is in the way
// of the change any more but a window or a measurement that begins meanwhile, or a full ledger: no reading waits for it, and no swap comes between.
func (c *Conductor) Commission(ctx context.Context, channel string, correction Correction, keep Keep) (from uint64, err error) {
	unlock, err := c.claim()
	if err != nil {
		return 0, err
	}
	defer unlock()
	if err := c.changeable(channel, correction); err != nil {
		return 0, err
	}
	reason, err := keep(&correction)
	if err != nil {
		return 0, err
	}
	anew, from, err := c.change(ctx, channel, correction, reason)
	if err != nil {
		return 0, err
	}
	c.beginAnew(ctx, anew)
	return from, nil
}

// changeable tells why a correction cannot be put in force on a channel now; nil = it can.
func (c *Conductor) changeable(channel string, correction Correction) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	_, _, err := c.changing(channel, correction)
	return err
}

// changing gives the lane that a correction is for and its sensor with it, if nothing is in the way; the conductor's lock is held.
func (c *Conductor) changing(channel string, correction Correction) (*Lane, *sensor.Sensor, error) {
	lane, err := c.lane(channel)
	switch {
	case err != nil:
		return nil, nil, err
	case c.declared != nil:
		return nil, nil, ErrWindowBusy
	case c.measured != nil:
		return nil, nil, ErrMeasureBusy
	}
	made, err := lane.sensorWith(correction)
	return lane, made, err
}

// change does what must lie between two frames.
func (c *Conductor) change(ctx context.Context, channel string, correction Correction, reason string) (*anew, uint64, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	lane, made, err := c.changing(channel, correction)
	if err != nil {
		return nil, 0, err
	}
	if s := c.side(lane.Device); s.open.begun {
		c.closeSummary(ctx, s)
	}
	c.postAll()
	if !c.sink.Post(lane.commissioned(c.now(), reason)) {
		return nil, 0, ErrLedgerFull
	}
	lane.account.BeginGain() // another gain measures from here on, with an error of its own
	if f := c.fused(); f != nil {
		f.lane.account.BeginGain()
		if !c.sink.Post(f.lane.commissioned(c.now(), "channel "+lane.Name+": "+reason)) {
			c.config.Log.Error("the ledger has no room for what the log says", zap.String("channel", f.lane.Name), zap.String("reason", reason))
		}
	}
	lane.sensor, lane.correction = made, correction
	if lane.expired != nil {
		lane.expired.clear(c.now().Sequence, c.now().Wall)
		lane.expired = nil
	}
	c.events.operator("correction in force", c.now(), fmt.Sprintf("channel %s from sequence %d: %s; estimators begin anew", lane.Name, lane.next, reason))
	return c.forgetEstimates(), lane.next, nil
}

// commissioned is the entry of a change.
func (l *Lane) commissioned(at *scan.Clock, reason string) *Posting {
	return &Posting{
		Kind: Commissioned, Lane: l, Epoch: l.epoch, Reason: reason,
		Counted: charge.Totals{
			FirstSequence: l.next, LastSequence: l.next, FromWall: at.Wall, ToWall: at.Wall, FromMonotonic: at.Monotonic, ToMonotonic: at.Monotonic,
		},
	}
}

// anew is which estimators are to begin anew, and those that were at work.
type anew struct {
	inForce *Candidate // nil = none
	shadows []shadow
	old     []*run
}

// forgetEstimates takes all estimators out, and what they were fed with; the conductor's lock is held.
func (c *Conductor) forgetEstimates() *anew {
	e := &c.estimation
	a := &anew{}
	for _, s := range e.shadows {
		if !s.trial { // a trial ends: its time was with what is counted otherwise now
			a.shadows = append(a.shadows, s)
		}
		if s.raised != nil {
			s.raised.clear(e.newest.Sequence, e.newest.Wall)
		}
		a.old = append(a.old, s.run)
	}
	if e.current != nil {
		e.current.role.Store(nil)
		a.inForce, a.old = &e.current.candidate, append(a.old, e.current)
	}
	e.current, e.shadows, e.previous, e.retained, e.kept = nil, nil, nil, nil, map[string]*Kept{}
	for _, lane := range c.measuring() {
		if lane.offset != nil {
			lane.offset.Forget()
		}
	}
	if f := c.fused(); f != nil {
		f.learn(nil)
	}
	return a
}

// beginAnewWithin is the longest that starting estimators anew may take.
const beginAnewWithin = time.Minute

// beginAnew starts estimators as Begin and AddShadow do, whether or not the caller waits: nobody else would. The swap lock is held.
func (c *Conductor) beginAnew(ctx context.Context, a *anew) {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), beginAnewWithin)
	defer cancel()
	for _, r := range a.old {
		r.close() // outside the lock: no reading waits for a process to end
	}
	if a.inForce != nil {
		r, err := c.bring(ctx, *a.inForce, nil, untold())
		_ = c.putFirst(*a.inForce, r, err) // on an error its supervisor goes on trying
	}
	c.estimation.wake() // whoever was failed before is no more
	for _, s := range a.shadows {
		next, err := c.bring(ctx, s.candidate, nil, untold())
		c.mu.Lock()
		switch {
		case err == nil:
			c.putInShadow(s.name, next, s.stays)
		case s.stays: // its supervisor goes on trying
			c.putInShadow(s.name, c.notStarted(s.candidate, err), true)
		default:
			c.events.fault("estimator", s.candidate.Program.Name()+" in the shadow as "+s.name, c.estimation.newest.Sequence, c.estimation.newest.Wall,
				"it did not begin anew: "+err.Error())
		}
		c.mu.Unlock()
	}
}

// corrections gives the changes in force, by channel; the conductor's lock is held.
func (c *Conductor) corrections() map[string]uint64 {
	inForce := map[string]uint64{}
	for _, lane := range c.measuring() {
		if lane.correction.Record != 0 {
			inForce[lane.Name] = lane.correction.Record
		}
	}
	return inForce
}

// InForce gives the record of the change in force on a channel; 0 = none.
func (c *Conductor) InForce(channel string) uint64 {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.corrections()[channel]
}

// watchExpiry warns once of a correction whose time is over.
func (c *Conductor) watchExpiry(s *side, now scan.Clock) {
	for _, lane := range s.lanes {
		due := lane.correction.Expires != 0 && now.Wall >= lane.correction.Expires
		if due && lane.expired == nil {
			lane.expired = c.events.fault("calibration", lane.Name, now.Sequence, now.Wall, fmt.Sprintf(
				"the correction of record %d should have been found anew by %s: it stays in force", lane.correction.Record,
				time.Unix(0, lane.correction.Expires).UTC().Format(time.RFC3339)))
		}
	}
}
