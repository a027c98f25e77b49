package iio

import (
	"context"
	"errors"
	"log"
	"os"

	"github.com/ampledger/ampledger/plugins/driver/internal/polling"
	"github.com/ampledger/ampledger/plugins/plugin"
)

var _ plugin.Driver = (*Driver)(nil)

// Driver reads one device.
type Driver struct {
	plan *plan
	now  func() (int64, error) // time that goes on while the machine sleeps, ns
	log  *log.Logger           // what no caller is told
}

// New gives a driver that is to be configured.
func New() *Driver { return &Driver{now: polling.Boottime, log: log.New(os.Stderr, "", 0)} }

// Configure looks the device and its channels up; it changes nothing there.
func (d *Driver) Configure(_ context.Context, _ string, from plugin.Settings) (*plugin.Description, error) {
	if _, err := d.now(); err != nil {
		return nil, err
	}
	settings := defaults()
	if err := from.Decode(&settings); err != nil {
		return nil, err
	}
	plan, err := settings.check()
	if err != nil {
		return nil, err
	}
	d.plan = plan
	description := &plugin.Description{NominalRateHertz: plan.rateHertz}
	for i := range plan.inputs {
		description.Inputs = append(description.Inputs, plan.inputs[i].Input)
	}
	return description, nil
}

// Stream reads the device until the context ends or the device fails.
func (d *Driver) Stream(ctx context.Context, emit func(*plugin.Frame) error) error {
	switch {
	case d.plan == nil:
		return errors.New("stream before configure")
	case ctx.Err() != nil:
		return context.Cause(ctx)
	case d.plan.buffer != nil:
		return d.capture(ctx, emit)
	}
	return d.poll(ctx, emit)
}
