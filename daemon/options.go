package daemon

import (
	"fmt"
	"slices"
	"strings"

	"go.uber.org/zap"

	"github.com/ampledger/ampledger/daemon/config"
	"github.com/ampledger/ampledger/daemon/pluginhost"
)

// Options is what a daemon is told beside its configuration.
type Options struct {
	Executable string   // started for shipped plugins with the arguments PluginArguments and kind/name
	Arguments  []string // such as "plugin"
	Drivers    []string // shipped drivers, by name
	Estimators []string // shipped estimators, by name
	Log        *zap.Logger
	Ready      func(address string) // called when the services can be reached; may be nil
}

func (o *Options) host(c *config.Config) *pluginhost.Host {
	return &pluginhost.Host{Executable: o.Executable, Arguments: o.Arguments, Folder: c.Folder, Log: o.Log}
}

// program translates a plugin's configuration.
func program(p config.Plugin) pluginhost.Program {
	return pluginhost.Program{
		Shipped: p.Name, Path: p.Path, SHA256: p.SHA256, Arguments: p.Arguments, Environment: p.Environment,
	}
}

// CheckShipped refuses the name of a plugin that is not shipped, before anything is started.
func (o *Options) CheckShipped(c *config.Config) error {
	for _, d := range c.Devices {
		if err := shipped("driver", d.Driver, o.Drivers); err != nil {
			return fmt.Errorf("device %s: %w", d.Name, err)
		}
	}
	for _, conductor := range c.Conductors {
		var plugins []config.Plugin
		if conductor.Estimator != nil {
			plugins = append(plugins, conductor.Estimator.Plugin)
		}
		for _, s := range conductor.Shadows {
			plugins = append(plugins, s.Plugin)
		}
		for _, p := range plugins {
			if err := shipped("estimator", p, o.Estimators); err != nil {
				return fmt.Errorf("conductor %s: %w", conductor.Name, err)
			}
		}
	}
	return nil
}

func shipped(kind string, p config.Plugin, known []string) error {
	if p.Name == "" || slices.Contains(known, p.Name) {
		return nil
	}
	return fmt.Errorf("there is no shipped %s %q; there are %s. An executable of your own is written {path: …, sha256: …}",
		kind, p.Name, strings.Join(known, ", "))
}
