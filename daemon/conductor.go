package daemon

import (
	"context"
	"fmt"
	"math"

	"github.com/ampledger/ampledger/daemon/config"
	"github.com/ampledger/ampledger/daemon/guard"
	"github.com/ampledger/ampledger/daemon/pipeline"
	"github.com/ampledger/ampledger/daemon/pluginhost"
	"github.com/ampledger/ampledger/daemon/scan"
	"github.com/ampledger/ampledger/daemon/sensor"
	"github.com/ampledger/ampledger/plugins/plugin"
	"go.uber.org/zap"
)

// conductorConfig translates a conductor.
func conductorConfig(c config.Conductor, ledger config.Ledger) pipeline.ConductorConfig {
	p := pipeline.ConductorConfig{
		Name: c.Name, ChargeIsPositive: c.Positive == "charge", ChargeFrom: c.ChargeFrom, PostNanos: nanos(ledger.IntervalSeconds),
		CapacityCoulombs:  c.CapacityAmpereHours * 3600,
		PostMicrocoulombs: postMicrocoulombs(c, ledger), AdjustMicrocoulombs: int64(math.Round(ledger.AdjustmentCoulombs * 1e6)),
	}
	if c.Contactor != nil {
		p.Contactor = &pipeline.Contactor{Device: c.Contactor.Device, Input: c.Contactor.Input}
	}
	for _, ch := range c.Channels {
		p.Lanes = append(p.Lanes, laneConfig(c, ch))
	}
	if c.Estimator != nil {
		p.MostFailures = c.Estimator.MostFailures
	}
	if c.ChargeFrom == config.Fused {
		p.Fused = &pipeline.LaneConfig{
			Name: pipeline.Fused, SensorKind: pipeline.Fused, Device: c.Channels[0].Device, Guard: elements(c, config.Fused),
		}
	}
	return p
}

// postShare is the part of a conductor's capacity after which its charge is posted if nothing is said.
const postShare = 0.001

func postMicrocoulombs(c config.Conductor, ledger config.Ledger) int64 {
	coulombs := ledger.IntervalCoulombs
	if coulombs == 0 {
		coulombs = postShare * c.CapacityAmpereHours * 3600
	}
	return int64(math.Round(min(coulombs, 1e12) * 1e6))
}

func laneConfig(c config.Conductor, ch config.Channel) pipeline.LaneConfig {
	lane := pipeline.LaneConfig{
		Name: ch.Name, SensorKind: ch.Kind(), Device: ch.Device, Input: ch.Input, Guard: elements(c, ch.Name),
		Sensor: func(inputs pipeline.Inputs) (sensor.Config, error) { return sensorConfig(ch, inputs) },
	}
	if ch.GapBoundAmperes != nil {
		lane.GapBoundAmperes = *ch.GapBoundAmperes
	}
	return lane
}

// elements are the guard rules of a channel.
func elements(c config.Conductor, channel string) (settings []guard.Setting) {
	for _, e := range c.Guard {
		if e.Channel == channel {
			settings = append(settings, element(e, c.Positive))
		}
	}
	return settings
}

// element translates a guard rule; a direction becomes the side of the sign it has on this conductor.
func element(e config.Element, positive string) guard.Setting {
	s := guard.Setting{Name: e.Name, Side: guard.Negative, DropoffRatio: e.DropoffRatio}
	switch e.Direction {
	case positive:
		s.Side = guard.Positive
	case "both":
		s.Side = guard.Either
	}
	switch {
	case e.Instantaneous != nil:
		s.Instantaneous = &guard.Instantaneous{PickupAmperes: e.Instantaneous.PickupAmperes, Scans: e.Instantaneous.Scans}
	case e.DefiniteTime != nil:
		s.DefiniteTime = &guard.DefiniteTime{PickupAmperes: e.DefiniteTime.PickupAmperes, DelaySeconds: e.DefiniteTime.DelaySeconds}
	case e.InverseTime != nil:
		s.InverseTime = &guard.InverseTime{
			Curve: e.InverseTime.Curve, PickupAmperes: e.InverseTime.PickupAmperes, TimeMultiplier: e.InverseTime.TimeMultiplier,
		}
		if e.InverseTime.ResetSeconds != nil {
			s.InverseTime.Reset, s.InverseTime.ResetSeconds = guard.ResetDefinite, *e.InverseTime.ResetSeconds
		}
	case e.Saturation != nil:
		s.Saturation = &guard.Saturation{Scans: e.Saturation.Scans}
	}
	return s
}

// candidate translates a conductor's estimator.
func candidate(e *config.Estimator) pipeline.Candidate {
	return pipeline.Candidate{Program: program(e.Plugin), Settings: e.With}
}

// shadowOf translates an estimator in the shadow.
func shadowOf(s config.Shadow) pipeline.Candidate {
	return pipeline.Candidate{Program: program(s.Plugin), Settings: s.With}
}

// starter starts estimators as plugin processes.
func starter(host *pluginhost.Host) pipeline.Start {
	return func(ctx context.Context, c pipeline.Candidate, conductor plugin.Conductor, kept pluginhost.Kept, reached func(pipeline.Step)) (pipeline.Started, error) {
		e, err := host.StartEstimator(ctx, c.Program, conductor, c.Settings, kept, func(stage pluginhost.Stage) {
			reached(map[pluginhost.Stage]pipeline.Step{pluginhost.Configured: pipeline.Configured, pluginhost.Restoring: pipeline.Restoring}[stage])
		})
		if err != nil {
			return pipeline.Started{}, err
		}
		return pipeline.Started{
			Observer: e, Method: e.Method, HalfWidths: e.Bases, Outputs: e.Outputs, WantsReadings: e.WantsReadings,
		}, nil
	}
}

// The defaults that hang on a device's rate, in nominal intervals, and their least.
const (
	gapIntervals        = 5
	staleIntervals      = 10
	leastStaleSeconds   = 5.0
	leastSummaryScans   = 10
	mostSummaryScans    = 100_000
	estimateStaleBlocks = 10 // summaries without an answer after which an estimate is stale, beside leastStaleSeconds
)

// deviceSettings settles what the configuration leaves open, by the rate the driver states.
func deviceSettings(d config.Device) func(*plugin.Description) pipeline.DeviceSettings {
	return func(description *plugin.Description) pipeline.DeviceSettings {
		s := pipeline.DeviceSettings{SummaryScans: leastSummaryScans, StaleNanos: nanos(leastStaleSeconds)}
		interval := 0.0
		if rate := description.GetNominalRateHertz(); rate > 0 {
			interval = 1 / rate
			s.GapNanos = nanos(gapIntervals * interval)
			s.StaleNanos = nanos(max(leastStaleSeconds, staleIntervals*interval))
			s.SummaryScans = uint64(min(max(leastSummaryScans, math.Round(rate)), mostSummaryScans))
		}
		if d.GapSeconds != nil {
			s.GapNanos = nanos(*d.GapSeconds)
		}
		if d.StaleSeconds > 0 {
			s.StaleNanos = nanos(d.StaleSeconds)
		}
		if d.SummaryScans > 0 {
			s.SummaryScans = uint64(d.SummaryScans)
		}
		s.EstimateStaleNanos = nanos(max(leastStaleSeconds, estimateStaleBlocks*float64(s.SummaryScans)*interval))
		return s
	}
}

// nanos converts seconds; what no int64 holds becomes the greatest.
func nanos(seconds float64) int64 {
	if seconds >= math.MaxInt64/1e9 {
		return math.MaxInt64
	}
	return int64(math.Round(seconds * 1e9))
}

// plan is what conductors and devices are built for.
type plan struct {
	host      *pluginhost.Host
	log       *zap.Logger
	sink      pipeline.Sink
	sequences pipeline.Sequences
	opening   uint64
	lockstep  bool // all conductors; those that a rig feeds in lockstep are by themselves
	feeds     feeds
	records   *recordings         // nil = nothing is recorded
	described func(device string) // hears that a driver has described its device, before any of its frames; nil = nobody listens
}

// frames gives what takes a device's frames; nil = nothing does, and nobody wants to hear of it.
func (p *plan) frames(device string) func(*plugin.Description) func(*scan.Frame) {
	record := p.records.device(device)
	if p.described == nil {
		return record
	}
	return func(description *plugin.Description) func(*scan.Frame) {
		p.described(device)
		if record == nil {
			return nil
		}
		return record(description)
	}
}

// build makes the conductors and devices of a configuration. It starts nothing.
func build(c *config.Config, p plan) (conductors []*pipeline.Conductor, devices []*pipeline.Device, err error) {
	for _, each := range c.Conductors {
		feed, err := p.feeds.lockstep(each)
		if err != nil {
			return nil, nil, err
		}
		made := conductorConfig(each, c.Ledger)
		made.Expected = each.Estimator != nil
		made.Lockstep, made.Start, made.Log = p.lockstep || feed != nil, starter(p.host), p.log.Named("conductor."+each.Name)
		made.RecordNanos, made.MostShadows = nanos(c.Estimates.IntervalSeconds), c.Estimates.MostShadows
		made.EventPrefix, made.Opening = fmt.Sprint(p.opening), p.opening
		conductor, err := pipeline.NewConductor(made, p.sink)
		if err != nil {
			return nil, nil, fmt.Errorf("conductor %s: %w", each.Name, err)
		}
		conductors = append(conductors, conductor)
	}
	for _, each := range c.Devices {
		made := pipeline.DeviceConfig{
			Name: each.Name, Program: program(each.Driver), With: each.With, Settings: deviceSettings(each), Log: p.log.Named("device." + each.Name),
			Source: p.feeds.source(each.Name), Lockstep: p.feeds.inLockstep(each.Name), Record: p.frames(each.Name),
		}
		devices = append(devices, pipeline.NewDevice(made, p.host, p.sequences, p.opening<<20, conductors))
	}
	return conductors, devices, nil
}
