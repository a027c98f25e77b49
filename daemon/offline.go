package daemon

import (
	"go.uber.org/zap"

	"github.com/ampledger/ampledger/daemon/config"
	"github.com/ampledger/ampledger/daemon/pipeline"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// OfflineConductor translates a conductor for a caller that drives the pipeline itself, in lockstep and without a log. Start is left to the
// caller.
func OfflineConductor(c config.Conductor, ledger config.Ledger) pipeline.ConductorConfig {
	p := conductorConfig(c, ledger)
	p.Expected, p.Lockstep, p.Log, p.EventPrefix = c.Estimator != nil, true, zap.NewNop(), "0"
	return p
}

// DeviceSettings settles what the configuration of a device leaves open, by what its driver says of it.
func DeviceSettings(d config.Device) func(*plugin.Description) pipeline.DeviceSettings {
	return deviceSettings(d)
}

// OfflineDevice makes a device whose driver is a plugin process and whose sequences begin at 0. settings is asked once, when the driver
// has described the device.
func OfflineDevice(c *config.Config, o *Options, d config.Device, settings func(*plugin.Description) pipeline.DeviceSettings, conductors []*pipeline.Conductor) *pipeline.Device {
	p := pipeline.DeviceConfig{Name: d.Name, Program: program(d.Driver), With: d.With, Settings: settings, Log: zap.NewNop(), Source: newFeeds(c).source(d.Name)}
	return pipeline.NewDevice(p, o.host(c), noSequences{}, 0, conductors)
}

// Candidate translates an estimator.
func Candidate(e *config.Estimator) pipeline.Candidate { return candidate(e) }

// Starter starts estimators as plugin processes.
func Starter(c *config.Config, o *Options) pipeline.Start { return starter(o.host(c)) }
