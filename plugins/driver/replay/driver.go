package replay

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"github.com/ampledger/ampledger/plugins/driver/replay/table"
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

// Stream plays the recording from its start.
func (d *Driver) Stream(ctx context.Context, emit func(*plugin.Frame) error) error {
	if d.plan == nil {
		return errors.New("stream before configure")
	}
	file, err := table.Open(d.plan.path)
	if err != nil {
		return err
	}
	defer file.Close()
	if !slices.Equal(file.Header(), d.plan.header) {
		return fmt.Errorf("%s: the header changed since the device was configured, start the device again", d.plan.path)
	}
	err = newPlayer(d.plan, file.Reader, emit).play(ctx)
	if errors.Is(err, errEnd) {
		return nil
	}
	return err
}
