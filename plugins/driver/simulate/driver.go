package simulate

import (
	"context"
	"errors"
	"fmt"

	"github.com/ampledger/ampledger/plugins/driver/internal/playback"
	"github.com/ampledger/ampledger/plugins/driver/replay/table"
	"github.com/ampledger/ampledger/plugins/driver/simulate/physics"
	"github.com/ampledger/ampledger/plugins/plugin"
)

var _ plugin.Driver = (*Driver)(nil)

// Driver simulates one device.
type Driver struct{ plan *plan }

// New gives a driver that is to be configured.
func New() *Driver { return &Driver{} }

// Configure reads the settings and the recordings they name.
func (d *Driver) Configure(_ context.Context, _ string, from plugin.Settings) (*plugin.Description, error) {
	plan, err := read(from)
	if err != nil {
		return nil, err
	}
	d.plan = plan
	description := &plugin.Description{NominalRateHertz: 1e9 / float64(plan.rig.PeriodNanos), Finite: !plan.endless}
	for _, source := range plan.sources() {
		description.Inputs = append(description.Inputs, source.input)
	}
	return description, nil
}

// NewRig gives what settings of this driver describe, for runs in the caller's own process, and the seed that they name. A rig without
// an end (duration_seconds is 0) makes scans until the time of table.MaxSeconds. The settings of playback are checked and not used.
func NewRig(from plugin.Settings) (rig *physics.Rig, seed uint64, err error) {
	plan, err := read(from)
	if err != nil {
		return nil, 0, err
	}
	return plan.rig, plan.seed, nil
}

func read(from plugin.Settings) (*plan, error) {
	settings := defaults()
	if err := from.Decode(&settings); err != nil {
		return nil, err
	}
	return settings.check()
}

// plan is what the settings come to.
type plan struct {
	playback playback.Plan
	seed     uint64
	truth    bool // is told of the offsets as well
	rig      *physics.Rig
	endless  bool // the rig's end is that of time
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
		if err := pacer.Wait(ctx, frames.elapsed()); err != nil {
			return err
		}
		if frame.ScanCount == 0 {
			continue
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
