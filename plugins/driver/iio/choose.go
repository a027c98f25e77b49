package iio

import (
	"errors"
	"fmt"
	"slices"
	"strings"
)

// chosen is a channel and the name its input has; "" = its own.
type chosen struct {
	*channel
	input string
}

// choose finds the channels that the settings name among those there are, all of them if it names none.
func (s *settings) choose(d folder, names []string) ([]chosen, error) {
	var there []chosen
	if len(names) == 0 {
		return nil, fmt.Errorf("%s has no input of volts, amperes or temperature in this mode", d)
	}
	var faults []error
	for _, name := range names {
		c, err := s.class().inspect(d, name)
		if err == nil || len(s.Inputs) == 0 || s.ask(c) {
			faults = append(faults, err)
		}
		if err == nil {
			there = append(there, chosen{c, ""})
		}
	}
	if err := errors.Join(faults...); err != nil || len(s.Inputs) == 0 {
		return there, err
	}
	return s.match(there, names)
}

// ask tells that an input's setting means a channel.
func (s *settings) ask(c *channel) bool {
	return slices.ContainsFunc(s.Inputs, func(in inputSettings) bool { return in.means(c) })
}

func (in *inputSettings) means(c *channel) bool {
	return in.Channel == c.name || in.Label != "" && in.Label == c.label
}

// match gives the channels in the order of the settings.
func (s *settings) match(there []chosen, names []string) (matched []chosen, err error) {
	var faults []error
	for i, in := range s.Inputs {
		before := len(matched)
		for _, c := range there {
			if in.means(c.channel) {
				matched = append(matched, chosen{c.channel, in.Name})
			}
		}
		key := fmt.Sprintf("inputs[%d]", i)
		switch found := len(matched) - before; {
		case found == 0:
			faults = append(faults, fault(key, fmt.Errorf("the device has no channel %q, there are %s", in.Channel+in.Label, strings.Join(names, ", "))))
		case found > 1:
			faults = append(faults, fault(key, fmt.Errorf("%d channels have the label %q, give the channel", found, in.Label)))
		}
	}
	return matched, errors.Join(faults...)
}
