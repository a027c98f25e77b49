package can

import (
	"context"
	"errors"
	"log"
	"os"

	"github.com/ampledger/ampledger/plugins/driver/internal/boottime"
	"github.com/ampledger/ampledger/plugins/plugin"
)

var _ plugin.Driver = (*Driver)(nil)

// Driver reads one CAN interface or plays one log.
type Driver struct {
	plan *plan
	now  func() (int64, error)       // time that goes on while the machine sleeps, ns
	dial func(*plan) (source, error) // opens the interface
	log  *log.Logger                 // what no caller is told
}

// New gives a driver that is to be configured.
func New() *Driver { return &Driver{now: boottime.Nanos, dial: dial, log: log.New(os.Stderr, "", 0)} }

// Configure reads the settings, and looks whether the interface or the log is there.
func (d *Driver) Configure(_ context.Context, _ string, from plugin.Settings) (*plugin.Description, error) {
	var read settings
	if err := from.Decode(&read); err != nil {
		return nil, err
	}
	plan, err := read.check()
	if err != nil {
		return nil, err
	}
	if err := d.probe(plan); err != nil {
		return nil, err
	}
	d.plan = plan
	return plan.describe(), nil
}

// probe opens what is to be read and closes it again.
func (d *Driver) probe(p *plan) error {
	if p.log != "" {
		return probeLog(p)
	}
	if _, err := d.now(); err != nil {
		return err
	}
	from, err := d.dial(p)
	if err != nil {
		return fault("interface", err)
	}
	return from.Close()
}

// Stream reads until the context ends, the interface fails or the log is at its end.
func (d *Driver) Stream(ctx context.Context, emit func(*plugin.Frame) error) error {
	switch {
	case d.plan == nil:
		return errors.New("stream before configure")
	case ctx.Err() != nil:
		return context.Cause(ctx)
	case d.plan.log != "":
		return d.play(ctx, emit)
	}
	return d.listen(ctx, emit)
}
