package daemon

import (
	"errors"
	"fmt"
	"maps"
	"slices"

	"github.com/ampledger/ampledger/daemon/config"
	"github.com/ampledger/ampledger/daemon/pipeline"
	"github.com/ampledger/ampledger/daemon/rig"
	"github.com/ampledger/ampledger/daemon/service"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// feedDriver is the driver that is no process: scans come to the daemon's own services.
const feedDriver = "feed"

// feeds are the devices of a configuration that a rig feeds, by name.
type feeds map[string]*service.Feed

func newFeeds(c *config.Config) feeds {
	all := feeds{}
	for _, d := range c.Devices {
		if d.Driver.Name != feedDriver {
			continue
		}
		f := &service.Feed{Source: rig.New(d.Name, d.With)}
		if f.Lockstep() {
			f.Aftermath = &service.Aftermath{}
		}
		all[d.Name] = f
	}
	return all
}

// list gives them in the order of the configuration.
func (all feeds) list(c *config.Config) (list []*service.Feed) {
	for _, d := range c.Devices {
		if f := all[d.Name]; f != nil {
			list = append(list, f)
		}
	}
	return list
}

// source gives what a device reads instead of a driver's process; nil = it reads one.
func (all feeds) source(device string) pipeline.Source {
	if f := all[device]; f != nil {
		return f.Source
	}
	return nil
}

// inLockstep tells that a device's time stands still while its rig is busy or away.
func (all feeds) inLockstep(device string) bool { return all[device] != nil && all[device].Lockstep() }

// lockstep gives the feed that a conductor keeps step with; nil = none. A conductor that does must have nothing on another device, whose readings would
// come between at no time that can be told beforehand.
func (all feeds) lockstep(c config.Conductor) (*service.Feed, error) {
	of := map[string]string{} // by device: what is read there
	for _, ch := range c.Channels {
		of[ch.Device] = "channel " + ch.Name
	}
	if c.Contactor != nil && of[c.Contactor.Device] == "" {
		of[c.Contactor.Device] = "the contactor"
	}
	for _, device := range slices.Sorted(maps.Keys(of)) {
		if !all.inLockstep(device) {
			continue
		}
		for _, other := range slices.Sorted(maps.Keys(of)) {
			if what := of[other]; other != device {
				return nil, fmt.Errorf("conductor %s: device %s feeds it in lockstep, so nothing of it may come from another; %s is read by %s",
					c.Name, device, what, other)
			}
		}
		return all[device], nil
	}
	return nil, nil
}

// describe gives what a device's settings say of it, or what is wrong with them or with the conductors that keep step with it.
func (all feeds) describe(device string, c *config.Config) (description *plugin.Description, err error) {
	description, err = all[device].Describe()
	for _, conductor := range c.Conductors {
		if uses(conductor, device) {
			_, fault := all.lockstep(conductor)
			err = errors.Join(err, fault)
		}
	}
	return description, err
}

// uses tells whether a conductor has anything on a device.
func uses(c config.Conductor, device string) bool {
	return c.Contactor != nil && c.Contactor.Device == device || slices.ContainsFunc(c.Channels, func(ch config.Channel) bool { return ch.Device == device })
}

// byConductor gives the feeds that conductors keep step with, by conductor.
func (all feeds) byConductor(c *config.Config) map[string]*service.Feed {
	by := map[string]*service.Feed{}
	for _, conductor := range c.Conductors {
		if f, err := all.lockstep(conductor); err == nil && f != nil {
			by[conductor.Name] = f
		}
	}
	return by
}

// stop lets every rig know that no more frames are taken.
func (all feeds) stop() {
	for _, f := range all {
		f.Stop()
	}
}
