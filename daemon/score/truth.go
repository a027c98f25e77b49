package score

import (
	"fmt"
	"slices"
	"strings"

	"github.com/ampledger/ampledger/daemon/config"
)

// truth is the current that really flowed, as a channel of its own.
type truth struct {
	name      string // as it was asked for
	channel   config.Channel
	positive  string // "discharge" or "charge"
	conductor string // it is a channel of; "" = it is an input
}

// newTruth finds what DEVICE/INPUT or CONDUCTOR/CHANNEL names.
func newTruth(s *Settings) (truth, error) {
	of, name, both := strings.Cut(s.Truth, "/")
	if !both || of == "" || name == "" {
		return truth{}, fmt.Errorf("%q names no truth: give DEVICE/INPUT or CONDUCTOR/CHANNEL", s.Truth)
	}
	for _, c := range s.Config.Conductors {
		if i := slices.IndexFunc(c.Channels, func(ch config.Channel) bool { return ch.Name == name }); c.Name == of && i >= 0 {
			return truth{s.Truth, c.Channels[i], c.Positive, c.Name}, nil
		}
	}
	if !slices.ContainsFunc(s.Config.Devices, func(d config.Device) bool { return d.Name == of }) {
		return truth{}, fmt.Errorf("truth %q: there is no device %q, nor a conductor of that name with a channel %q; there are %s", s.Truth, of, name, names(s.Config))
	}
	positive := s.TruthPositive
	if positive == "" {
		positive = "discharge"
	}
	return truth{s.Truth, reported("truth", of, name), positive, ""}, nil
}

// names lists what a truth can be looked for in.
func names(c *config.Config) string {
	var all []string
	for _, d := range c.Devices {
		all = append(all, "device "+d.Name)
	}
	for _, each := range c.Conductors {
		for _, ch := range each.Channels {
			all = append(all, "channel "+each.Name+"/"+ch.Name)
		}
	}
	return strings.Join(all, ", ")
}

// reported is a channel that takes amperes as they are. A bound keeps what it may have missed finite; nothing asks for it.
func reported(name, device, input string) config.Channel {
	bound := 1.0
	return config.Channel{Name: name, Device: device, Input: input, Reported: &config.Reported{}, GapBoundAmperes: &bound}
}

// is tells whether a channel reads what the truth does.
func (t *truth) is(ch config.Channel) bool {
	return ch.Device == t.channel.Device && ch.Input == t.channel.Input
}
