package daemon

import (
	"context"

	"github.com/ampledger/ampledger/daemon/config"
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
	host := o.host(c)
	var all []Described
	for _, d := range c.Devices {
		each := Described{Device: d.Name, Err: shipped("driver", d.Driver, o.Drivers)}
		if each.Err == nil {
			driver, err := host.StartDriver(ctx, program(d.Driver), d.Name, d.With)
			if each.Err = err; err == nil {
				each.Description = driver.Description
				driver.Close()
			}
		}
		all = append(all, each)
	}
	return all
}
