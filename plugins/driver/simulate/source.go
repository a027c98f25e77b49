package simulate

import (
	"math/rand/v2"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// source is one input. It is read once for every scan, in order.
type source interface {
	describe() *plugin.Input
	read(now instant, to *plugin.Column)
}

// The streams of chance, one a sensor: a number never changes and is never given to another.
const (
	shuntStream    = 1
	magneticStream = 2
)

// sources gives the inputs in their order, at their first scan.
func (p *plan) sources() []source {
	var all []source
	add := func(name string, sensor interface{ code(instant, float64) int32 }, c *converter, stream uint64) {
		all = append(all, &codes{name + "_code", c, sensor, rand.New(rand.NewPCG(p.seed, stream))}, celsius(name+"_celsius"))
	}
	if p.shunt != nil {
		add("shunt", p.shunt, &p.shunt.converter, shuntStream)
	}
	if p.magnetic != nil {
		add("magnetic", p.magnetic, &p.magnetic.converter, magneticStream)
	}
	return append(all, trueAmperes{}, contactorOpen{})
}

// codes is what a sensor's converter gives.
type codes struct {
	name      string
	converter *converter
	sensor    interface{ code(instant, float64) int32 }
	chance    *rand.Rand
}

func (c *codes) describe() *plugin.Input {
	return &plugin.Input{
		Name: c.name, Unit: "code", CodeRangeKnown: true,
		MinimumCode: int32(c.converter.least), MaximumCode: int32(c.converter.most),
		VoltsPerCode: c.converter.voltsPerCode, ZeroCodeVolts: c.converter.zeroCodeVolts,
	}
}

// read draws even if there is no noise, so that a setting of zero changes nothing else.
func (c *codes) read(now instant, to *plugin.Column) {
	to.Codes = append(to.Codes, c.sensor.code(now, c.chance.NormFloat64()))
}

// celsius is the temperature at a sensor, by the input's name.
type celsius string

func (c celsius) describe() *plugin.Input { return &plugin.Input{Name: string(c), Unit: "Cel"} }

func (celsius) read(now instant, to *plugin.Column) { to.Values = append(to.Values, now.celsius) }

// trueAmperes is the current that flows.
type trueAmperes struct{}

func (trueAmperes) describe() *plugin.Input { return &plugin.Input{Name: "true_amperes", Unit: "A"} }

func (trueAmperes) read(now instant, to *plugin.Column) { to.Values = append(to.Values, now.amperes) }

// contactorOpen is 1 while no current can flow.
type contactorOpen struct{}

func (contactorOpen) describe() *plugin.Input {
	return &plugin.Input{Name: "contactor_open", Unit: "1"}
}

func (contactorOpen) read(now instant, to *plugin.Column) {
	value := 0.0
	if now.contactorOpen {
		value = 1
	}
	to.Values = append(to.Values, value)
}
