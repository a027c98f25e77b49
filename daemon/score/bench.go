package score

import (
	"context"
	"errors"
	"fmt"
	"io"

	"github.com/ampledger/ampledger/daemon"
	"github.com/ampledger/ampledger/daemon/config"
	"github.com/ampledger/ampledger/daemon/pipeline"
	"github.com/ampledger/ampledger/daemon/scan"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// device is read by a bench, as pipeline.Device is meant to be: Open, Next until io.EOF, each frame delivered, End, Close.
type device interface {
	Name() string
	Open(ctx context.Context) error
	Next(ctx context.Context) (*scan.Frame, error)
	Deliver(ctx context.Context, f *scan.Frame)
	End(ctx context.Context)
	Close()
}

// settle is asked once when a device has been described.
type settle = func(*plugin.Description) pipeline.DeviceSettings

// world is what lies outside of the pipeline: how devices and estimators are started.
type world struct {
	device func(config.Device, settle, []*pipeline.Conductor) device
	start  pipeline.Start
}

// bench is a plan at work, once.
type bench struct {
	plan       *Plan
	judge      judge
	conductors []*pipeline.Conductor // the truth, then one a variant
	sources    []*source
	checked    bool // take checkpoints
	began      int64
	seen       func(readings uint64)
	readings   uint64
}

// source is a device with its next frame.
type source struct {
	device
	summaryScans uint64
	finite       bool
	head         *scan.Frame // nil = ended
	cut          scan.Frame
}

func newBench(p *Plan, vs []variant, w world) (*bench, error) {
	b := &bench{plan: p, seen: func(uint64) {}}
	if err := b.addTruth(); err != nil {
		return nil, err
	}
	offsets := b.judge.watchTruth(b.conductors[0])
	for _, v := range vs {
		of := p.scored
		of.Estimator = v.estimator
		made, err := b.addConductor(of, w.start, listener{&b.judge, v.label})
		if err != nil {
			return nil, err
		}
		b.judge.watch(made, p, v.label, offsets)
	}
	for _, d := range p.devices {
		s := &source{}
		settings := daemon.DeviceSettings(d)
		s.device = w.device(d, func(described *plugin.Description) pipeline.DeviceSettings {
			settled := settings(described)
			s.summaryScans, s.finite = settled.SummaryScans, described.GetFinite()
			return settled
		}, b.conductors)
		b.sources = append(b.sources, s)
	}
	return b, nil
}

// addTruth makes the truth's conductor, with the true offsets as far as they are given.
func (b *bench) addTruth() error {
	of := config.Conductor{Name: "truth", Positive: b.plan.truth.positive, Channels: []config.Channel{b.plan.truth.channel}}
	for _, ch := range b.plan.scored.Channels {
		if input, given := b.plan.offsetInput(ch); given && ch.Device == b.plan.truth.channel.Device {
			of.Channels = append(of.Channels, reported(ch.Name, ch.Device, input))
		}
	}
	_, err := b.addConductor(of, nil, &b.judge)
	return err
}

func (b *bench) addConductor(of config.Conductor, start pipeline.Start, to pipeline.Sink) (*pipeline.Conductor, error) {
	c := daemon.OfflineConductor(of, b.plan.config.Ledger)
	c.Start = start
	made, err := pipeline.NewConductor(c, to)
	if err != nil {
		return nil, fmt.Errorf("conductor %s: %w", of.Name, err)
	}
	b.conductors = append(b.conductors, made)
	return made, nil
}

// run takes all scans through and gives the scores.
func (b *bench) run(ctx context.Context, vs []variant) (*Run, error) {
	defer b.close()
	if err := b.open(ctx); err != nil {
		return nil, err
	}
	for i, v := range vs {
		if v.estimator == nil {
			continue
		}
		if err := b.conductors[1+i].Begin(ctx, daemon.Candidate(v.estimator)); err != nil {
			return nil, fmt.Errorf("conductor %s: %w", b.plan.scored.Name, err)
		}
	}
	if err := b.feed(ctx); err != nil {
		return nil, err
	}
	return b.result()
}

func (b *bench) open(ctx context.Context) error {
	for _, s := range b.sources {
		if err := s.Open(ctx); err != nil {
			return err
		}
		if !s.finite {
			return fmt.Errorf("device %s: its source has no end, so it cannot be scored", s.Name())
		}
	}
	return nil
}

func (b *bench) close() {
	for _, c := range b.conductors {
		c.Close()
	}
	for _, s := range b.sources {
		s.Close()
	}
}

// feed takes frames in the order of their times, of equal ones in that of the devices.
func (b *bench) feed(ctx context.Context) error {
	for _, s := range b.sources {
		if err := s.fetch(ctx); err != nil {
			return err
		}
	}
	for {
		var earliest *source
		for _, s := range b.sources {
			if s.head != nil && (earliest == nil || s.head.At(0) < earliest.head.At(0)) {
				earliest = s
			}
		}
		if earliest == nil {
			return nil
		}
		b.deliver(ctx, earliest)
		if err := earliest.fetch(ctx); err != nil {
			return err
		}
	}
}

// fetch gets the next frame or ends the device.
func (s *source) fetch(ctx context.Context) (err error) {
	if err := ctx.Err(); err != nil {
		return context.Cause(ctx)
	}
	s.head, err = s.Next(ctx)
	if errors.Is(err, io.EOF) {
		s.head, err = nil, nil
		s.End(ctx)
	}
	if err != nil {
		return fmt.Errorf("device %s: %w", s.Name(), err)
	}
	return nil
}

// deliver takes a frame through the conductors; that of the truth's device summary by summary, with a checkpoint at the end of each.
func (b *bench) deliver(ctx context.Context, s *source) {
	f := s.head
	if s.Name() != b.plan.truth.channel.Device {
		s.Deliver(ctx, f)
		return
	}
	if b.readings == 0 {
		b.began = f.At(0)
	}
	for i := 0; i < f.Count; {
		due := s.summaryScans - (f.Sequence+uint64(i))%s.summaryScans
		j := i + int(min(due, uint64(f.Count-i)))
		f.Cut(i, j, &s.cut)
		s.Deliver(ctx, &s.cut)
		if b.checked && (f.Sequence+uint64(j))%s.summaryScans == 0 {
			b.checkpoint(f.At(j - 1))
		}
		i = j
	}
	b.readings += uint64(f.Count)
	b.seen(b.readings)
}
