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
	name   string
}

const prefix = "iio:device"

// file is the name of the device's folder and of its device file.
func (d device) file() string { return prefix + strconv.Itoa(d.number) }

func (d device) String() string { return fmt.Sprintf("%d %q", d.number, d.name) }

// devices lists what there is, by number. A device without a readable name has none.
func devices(sysfs folder) ([]device, error) {
	names, err := sysfs.names()
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("%w: this kernel has no industrial I/O, or the setting sysfs is wrong", err)
	}
	var all []device
	for _, name := range names {
		digits, found := strings.CutPrefix(name, prefix)
		number, notANumber := strconv.Atoi(digits)
		if !found || notANumber != nil {
			continue
		}
		text, _ := folder(sysfs.path(name)).text("name")
		all = append(all, device{number, text})
	}
	slices.SortFunc(all, func(a, b device) int { return a.number - b.number })
	return all, err
}

// find looks the device up; what is not there is an error that lists what is.
func (c choice) find(sysfs folder) (device, error) {
	if !c.given || c.number < 0 && c.name == "" {
		return device{}, errors.New("missing, give the number of a device or its name")
	}
	all, err := devices(sysfs)
	if err != nil {
		return device{}, err
	}
	fit := slices.DeleteFunc(slices.Clone(all), func(d device) bool {
		return c.number >= 0 && d.number != c.number || c.number < 0 && d.name != c.name
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
