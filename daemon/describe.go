package daemon

import (
	"context"

	"github.com/ampledger/ampledger/daemon/config"
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
