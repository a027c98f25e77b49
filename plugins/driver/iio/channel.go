package iio

import (
	"cmp"
	"fmt"
	"regexp"
	"slices"
	"strings"
)

// channel is one quantity that a device measures, as its attributes describe it.
type channel struct {
	name      string // between in_ and the attribute
	label     string // "" = none
	quantity  string // a key of units
	attribute string // that is polled
	fault     string // the attribute that is not 0 while the value is wrong; "" = none
	processed bool   // there is no raw value, only one in milli units
	scaled    bool   // there is an attribute scale
	scale     float64
	offset    float64 // is added to a raw value before it is scaled
}

// units are those of the quantities, of which the ABI gives a thousandth.
var units = map[string]string{"voltage": "V", "current": "A", "temp": "Cel", "in": "V", "curr": "A"}

var (
	channelName = `((?:voltage|current|temp)[0-9]*(?:-(?:voltage|current|temp)[0-9]+)?(?:_[a-z0-9_]+?)?)`
	attribute   = regexp.MustCompile(`^in_` + channelName + `_(?:raw|input)$`)
	enabler     = regexp.MustCompile(`^in_` + channelName + `_en$`)
	digits      = regexp.MustCompile(`[0-9]+`)
)

// channels lists the names of the channels whose attributes have a form, by type and number. Averages and peaks that a device
// computes beside a channel are none of their own.
func channels(in folder, of *regexp.Regexp) ([]string, error) {
	all, err := in.names()
	var found []string
	for _, name := range all {
		part := of.FindStringSubmatch(name)
		if part == nil || strings.HasSuffix(part[1], "_mean") || strings.HasSuffix(part[1], "_peak") {
			continue
		}
		found = append(found, part[1])
	}
	slices.SortFunc(found, func(a, b string) int { return cmp.Or(cmp.Compare(len(a), len(b)), cmp.Compare(a, b)) })
	slices.SortStableFunc(found, func(a, b string) int { return -cmp.Compare(kind(a), kind(b)) })
	return slices.Compact(found), err
}

// kind is the type of a channel, voltage-voltage of a difference.
func kind(name string) string {
	plain, _, _ := strings.Cut(name, "_")
	return digits.ReplaceAllString(plain, "")
}

// locate gives the name of an attribute that belongs to the channel alone, to all of its type, to all inputs or to the whole device; "" = none.
func locate(d folder, channel, attribute string) string {
	for _, owner := range []string{"in_" + channel + "_", "in_" + kind(channel) + "_", "in_", ""} {
		if d.has(owner + attribute) {
			return owner + attribute
		}
	}
	return ""
}

// shared gives the value of such an attribute.
func shared(d folder, channel, attribute string) (value float64, found bool, err error) {
	name := locate(d, channel, attribute)
	if name == "" {
		return 0, false, nil
	}
	value, err = d.number(name)
	return value, true, err
}

// inspect reads what the attributes say of a channel. It gives what it has read with an error, too.
func inspect(d folder, name string) (*channel, error) {
	quantity, _, _ := strings.Cut(kind(name), "-")
	c := &channel{name: name, quantity: quantity, attribute: "in_" + name + "_raw"}
	if d.has("in_"+name+"_input") && !d.has(c.attribute) {
		c.processed, c.attribute = true, "in_"+name+"_input"
	}
	var err error
	if c.label, err = d.optional("in_" + name + "_label"); err != nil || c.processed {
		return c, err
	}
	if c.offset, _, err = shared(d, name, "offset"); err != nil {
		return c, err
	}
	if c.scale, c.scaled, err = shared(d, name, "scale"); err != nil {
		return c, err
	}
	return c, c.checkScale(d)
}

func (c *channel) checkScale(d folder) error {
	switch {
	case c.scaled && c.scale == 0:
		return fmt.Errorf("%s: the scale of %s is 0, which makes every value the same; set it, or the range of the device", d, c.name)
	case !c.scaled && c.quantity == "temp":
		return fmt.Errorf("%s: %s has a raw value and no scale, so its unit is not known", d, c.name)
	case !c.scaled && c.quantity == "current":
		c.scale = 1 // "should be considered as processed with the unit in milliamps", in_currentX_raw
	}
	return nil
}
