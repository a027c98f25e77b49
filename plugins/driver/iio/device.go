package iio

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"slices"
	"strconv"
	"strings"
)

// choice is the setting device: a number or a name.
type choice struct {
	given  bool
	number int // -1 = by its name
	name   string
}

// UnmarshalJSON takes a whole number or a text.
func (c *choice) UnmarshalJSON(text []byte) error {
	c.given, c.number = true, -1
	if json.Unmarshal(text, &c.name) == nil {
		return nil
	}
	var number float64
	if json.Unmarshal(text, &number) != nil || number < 0 || number > math.MaxInt32 || number != math.Trunc(number) {
		return fmt.Errorf(`setting "device": %s is neither the number of a device nor a name`, text)
	}
	c.number = int(number)
	return nil
}

// device is one that there is.
type device struct {
	number int
	file   string // name of its folder and of its device file
	name   string // what kind it is
	label  string // which one of its kind, where the kernel knows
}

func (d device) String() string {
	if d.label != "" {
		return fmt.Sprintf("%d %q (%q)", d.number, d.name, d.label)
	}
	return fmt.Sprintf("%d %q", d.number, d.name)
}

// goes tells that the device goes by a name. One without has no name, not an empty one.
func (d device) goes(name string) bool { return d.name == name || d.label == name }

// devices lists what there is of a class, by number. A device without a readable name has none.
func devices(sysfs folder, of class) ([]device, error) {
	names, err := sysfs.names()
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("%w: this kernel has no %s, or the setting sysfs is wrong", err, of.has)
	}
	var all []device
	for _, name := range names {
		digits, found := strings.CutPrefix(name, of.prefix)
		number, notANumber := strconv.Atoi(digits)
		if !found || notANumber != nil {
			continue
		}
		in := folder(sysfs.path(name))
		kind, _ := in.text("name")
		label, _ := in.text("label")
		all = append(all, device{number, name, kind, label})
	}
	slices.SortFunc(all, func(a, b device) int { return a.number - b.number })
	return all, err
}

// find looks the device up; what is not there is an error that lists what is.
func (c choice) find(sysfs folder, of class) (device, error) {
	if !c.given || c.number < 0 && c.name == "" {
		return device{}, errors.New("missing, give the number of a device or its name")
	}
	all, err := devices(sysfs, of)
	if err != nil {
		return device{}, err
	}
	fit := slices.DeleteFunc(slices.Clone(all), func(d device) bool {
		return c.number >= 0 && d.number != c.number || c.number < 0 && !d.goes(c.name)
	})
	switch {
	case len(all) == 0:
		return device{}, fmt.Errorf("%s has no device, see whether one is connected and its kernel driver loaded", sysfs)
	case len(fit) == 0:
		return device{}, fmt.Errorf("%s has no such device, there are %v", sysfs, all)
	case len(fit) > 1:
		return device{}, fmt.Errorf("several devices have this name, give the number of one: %v", fit)
	}
	return fit[0], nil
}
