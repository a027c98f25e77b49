package replay

import (
	"context"
	"errors"

	"github.com/ampledger/ampledger/plugins/plugin"
)

var _ plugin.Driver = (*Driver)(nil)

// Driver plays one recording.
type Driver struct{ plan *plan }

// New gives a driver that is to be configured.
func New() *Driver { return &Driver{} }

// Configure reads the settings and the first rows of the recording.
func (d *Driver) Configure(ctx context.Context, _ string, from plugin.Settings) (*plugin.Description, error) {
	read := defaults()
	if err := from.Decode(&read); err != nil {
		return nil, err
	}
	plan, err := read.check(ctx)
	if err != nil {
		return nil, err
	}
	d.plan = plan
	return plan.describe(), nil
}

// Stream plays the recording from its start, again and again if it is to be repeated.
func (d *Driver) Stream(ctx context.Context, emit func(*plugin.Frame) error) error {
	if d.plan == nil {
		return errors.New("stream before configure")
	}
	play, out := playTable, newOutlet(d.plan, emit)
	if d.plan.series != nil {
		play = playSeries
	}
	for {
		switch err := play(ctx, out); {
		case !errors.Is(err, errEnd):
			return err
		case !d.plan.loop:
			return nil
		}
		if err := out.repeat(); err != nil {
			return err
		}
	}
}
