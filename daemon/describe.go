package daemon

import (
	"context"
	"errors"
	"fmt"
	"os"

	"github.com/ampledger/ampledger/daemon/config"
	"github.com/ampledger/ampledger/daemon/pipeline"
	"github.com/ampledger/ampledger/daemon/pluginhost"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// Described is what a device's driver says of it, or why it says nothing.
type Described struct {
	Device      string
	Description *plugin.Description
	Err         error
}

// Describe starts each device's driver, asks it what its inputs are and ends it: what `ampledgerd check` explains a configuration with.
func Describe(ctx context.Context, c *config.Config, o *Options) []Described {
	host, feeds := o.host(c), newFeeds(c)
	var all []Described
	for _, d := range c.Devices {
		each := Described{Device: d.Name, Err: o.shippedDriver(d.Driver)}
		switch {
		case each.Err != nil:
		case feeds[d.Name] != nil:
			each.Description, each.Err = feeds.describe(d.Name, c)
		default:
			each.describe(ctx, host, d)
		}
		all = append(all, each)
	}
	return all
}

// describe asks the driver.
func (e *Described) describe(ctx context.Context, host *pluginhost.Host, d config.Device) {
	driver, err := host.StartDriver(ctx, program(d.Driver), d.Name, d.With)
	if e.Err = err; err == nil {
		e.Description = driver.Description
		driver.Close()
	}
}

// Mistakes lists what a configuration asks for and cannot have: plugins that are not shipped, inputs that a device does not have, and a folder of
// candidates that is none. Of a device that could not be described nothing is said.
func Mistakes(c *config.Config, o *Options, described []Described) error {
	err := o.CheckShipped(c)
	if info, missing := os.Stat(c.Candidates); c.Candidates != "" && (missing != nil || !info.IsDir()) {
		err = errors.Join(err, fmt.Errorf("candidates: there is no folder %s", c.Candidates))
	}
	for _, d := range described {
		if d.Err == nil {
			inputs := pipeline.NewInputs(d.Device, d.Description)
			for _, conductor := range c.Conductors {
				err = errors.Join(err, missingInputs(conductor, inputs))
			}
		}
	}
	return err
}

// missingInputs looks for the inputs that a conductor wants of a device.
func missingInputs(c config.Conductor, inputs pipeline.Inputs) (err error) {
	find := func(where, device, input string) {
		if _, _, missing := inputs.Find(input); device == inputs.Device && missing != nil {
			err = errors.Join(err, fmt.Errorf("conductor %s, %s: %w", c.Name, where, missing))
		}
	}
	if c.Contactor != nil {
		find("contactor", c.Contactor.Device, c.Contactor.Input)
	}
	for _, ch := range c.Channels {
		find("channel "+ch.Name, ch.Device, ch.Input)
		if ch.Temperature != nil {
			find("temperature of channel "+ch.Name, ch.Device, ch.Temperature.Input)
		}
		if ch.Magnetic != nil && ch.Magnetic.Supply != nil {
			find("supply of channel "+ch.Name, ch.Device, ch.Magnetic.Supply.Input)
		}
	}
	return err
}
