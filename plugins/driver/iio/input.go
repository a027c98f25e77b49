package iio

import (
	"cmp"
	"fmt"
	"math"

	"github.com/ampledger/ampledger/plugins/driver/iio/layout"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// input is a channel as it goes out.
type input struct {
	*plugin.Input
	channel *channel
	code    bool
	less    int64 // is subtracted from a raw value to make a code of it
	at      int   // which field of the scan, buffered
}

// describe makes an input of a channel. Buffered, element says how its codes are stored; else it is nil.
func (c *channel) describe(name string, element *layout.Element) (input, error) {
	in := input{channel: c, Input: &plugin.Input{Name: cmp.Or(name, c.label, c.name), Unit: units[c.quantity]}}
	in.code = c.quantity == "voltage" && !c.processed
	if element != nil {
		least, greatest, known := element.Range()
		if !known {
			return in, fmt.Errorf("%s is stored as %v, values of 64 bits without a sign are not read", c.name, *element)
		}
		in.code = in.code && element.Bits <= 32
		if !in.code && c.quantity == "voltage" && !c.scaled {
			return in, fmt.Errorf("%s has %d bits and no scale, so it is neither a code nor volts", c.name, element.Bits)
		}
		if in.code && element.Bits > 1 {
			in.setRange(least, greatest)
		}
	}
	if in.code {
		in.Unit = "code"
		in.VoltsPerCode = c.scale / 1000
		if atZero := c.offset + float64(in.less); atZero != 0 { // no zero with a sign
			in.ZeroCodeVolts = atZero * c.scale / 1000
		}
	}
	return in, nil
}

// setRange gives the limits of the codes, moved to where 32 bits with a sign hold them.
func (in *input) setRange(least, greatest int64) {
	if greatest > math.MaxInt32 {
		in.less = 1 << 31
	}
	in.CodeRangeKnown = true
	in.MinimumCode, in.MaximumCode = int32(least-in.less), int32(greatest-in.less)
}

// value converts a raw value to the input's unit. The kernel's milli units are divided last, so that whole ones stay exact.
func (c *channel) value(raw float64) float64 {
	if c.processed {
		return raw / 1000
	}
	return (raw + c.offset) * c.scale / 1000
}
