package modbus

import (
	"context"
	"errors"
	"log"
	"math/rand/v2"
	"os"

	"github.com/ampledger/ampledger/plugins/driver/internal/boottime"
	"github.com/ampledger/ampledger/plugins/driver/internal/polling"
	"github.com/ampledger/ampledger/plugins/plugin"
)

var _ plugin.Driver = (*Driver)(nil)

// Driver reads the servers behind one address or on one serial line.
type Driver struct {
	plan   *plan
	now    func() (int64, error) // CLOCK_BOOTTIME, ns
	chance func() float64        // 0 to 1, spreads attempts to connect
	log    *log.Logger           // what no caller is told
}

// New gives a driver that is to be configured.
func New() *Driver {
	return &Driver{now: boottime.Nanos, chance: rand.Float64, log: log.New(os.Stderr, "", 0)}
}

// Configure checks the settings; it connects to nothing.
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
	for i := range plan.reads {
		for _, in := range plan.reads[i].inputs {
			description.Inputs = append(description.Inputs, in.Input)
		}
	}
	return description, nil
}

// Stream polls until the context ends or nothing can be read any more.
func (d *Driver) Stream(ctx context.Context, emit func(*plugin.Frame) error) (err error) {
	if d.plan == nil {
		return errors.New("stream before configure")
	}
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	m, err := newMeter(ctx, d)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, m.line.close()) }()
	return polling.New(m, m.inputs, d.plan.rateHertz, d.now, emit).Run(ctx)
}
