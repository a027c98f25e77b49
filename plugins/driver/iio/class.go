package iio

import (
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strings"
)

// class is a kind of devices that the kernel shows in folders of attributes.
type class struct {
	sysfs   string         // folder of the devices
	prefix  string         // of a device's folder, before its number
	has     string         // what the kernel lacks if there is no such folder
	polled  *regexp.Regexp // an attribute to poll, with its channel
	inspect func(folder, string) (*channel, error)
}

var classes = map[string]class{
	"iio": {"/sys/bus/iio/devices", "iio:device", "industrial I/O", attribute, inspect},
	// Documentation/ABI/testing/sysfs-class-hwmon: a type, a number, an item.
	"hwmon": {"/sys/class/hwmon", "hwmon", "hardware monitors", regexp.MustCompile(`^((?:curr|in|temp)[0-9]+)_input$`), inspectMonitor},
}

func (s *settings) class() class { return classes[s.Class] }

func (s *settings) checkClass() error {
	switch {
	case s.class().prefix == "":
		return fault("class", fmt.Errorf("%q is none of %s", s.Class, strings.Join(slices.Sorted(maps.Keys(classes)), ", ")))
	case s.Class != "iio" && s.Mode == "buffered":
		return fault("mode", fmt.Errorf("devices of class %s have no buffer, use polled", s.Class))
	}
	return nil
}

// inspectMonitor reads what a hardware monitor says of a channel.
func inspectMonitor(d folder, name string) (*channel, error) {
	c := &channel{name: name, quantity: kind(name), processed: true, attribute: name + "_input"}
	if d.has(name + "_fault") {
		c.fault = name + "_fault"
	}
	var err error
	c.label, err = d.optional(name + "_label")
	return c, err
}

// checkUpdates refuses to poll a device faster than it says it makes new values: they would go out twice.
func (s *settings) checkUpdates(p *plan) error {
	const update = "update_interval" // ms
	if s.Class != "hwmon" || !p.sysfs.has(update) {
		return nil
	}
	milliseconds, err := p.sysfs.number(update)
	if err != nil || p.rateHertz*milliseconds <= 1000.001 { // a rate may be rounded
		return err
	}
	return fault("rate_hertz", fmt.Errorf("%v is too often: %s says that values are new every %v ms; give %v at most, or set that",
		p.rateHertz, p.sysfs.path(update), milliseconds, 1000/milliseconds))
}
