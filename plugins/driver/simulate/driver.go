package simulate

import (
	"context"
	"errors"
	"fmt"

	"github.com/ampledger/ampledger/plugins/driver/internal/playback"
	"github.com/ampledger/ampledger/plugins/driver/replay/table"
	"github.com/ampledger/ampledger/plugins/plugin"
)

var _ plugin.Driver = (*Driver)(nil)

// Driver simulates one device.
type Driver struct{ plan *plan }

// New gives a driver that is to be configured.
func New() *Driver { return &Driver{} }

// Configure reads the settings and the recordings they name.
func (d *Driver) Configure(_ context.Context, _ string, from plugin.Settings) (*plugin.Description, error) {
	read := defaults()
	if err := from.Decode(&read); err != nil {
		return nil, err
	}
	plan, err := read.check()
	if err != nil {
		return nil, err
	}
	d.plan = plan
	description := &plugin.Description{NominalRateHertz: 1e9 / float64(plan.period), Finite: !plan.endless}
	for _, source := range plan.sources() {
		description.Inputs = append(description.Inputs, source.describe())
	}
	return description, nil
}

// plan is what the settings come to.
type plan struct {
	playback playback.Plan
	seed     uint64
	period   int64 // ns
	scans    int64 // there are, or that time has room for if endless
	endless  bool
	world    world
	shunt    *shunt    // nil = none
	magnetic *magnetic // nil = none
}

// Stream simulates from the first scan on.
func (d *Driver) Stream(ctx context.Context, emit func(*plugin.Frame) error) error {
	if d.plan == nil {
		return errors.New("stream before configure")
	}
	pacer, frames := d.plan.playback.Start(0), newGenerator(d.plan)
	for {
		frame := frames.next()
		if frame == nil {
			return d.plan.ended()
		}
		elapsed := frame.FirstMonotonicNanos + int64(frame.ScanCount-1)*d.plan.period
		if err := pacer.Wait(ctx, elapsed); err != nil {
			return err
		}
		frame.FirstWallNanos = pacer.Wall(frame.FirstMonotonicNanos)
		if err := emit(frame); err != nil {
			return err
		}
	}
}

func (p *plan) ended() error {
	if p.endless {
		return fmt.Errorf("the simulated time has passed %d s, start the device again", int64(table.MaxSeconds))
	}
	return nil
}
