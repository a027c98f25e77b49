package config

import "math"

// line turns a raw value into amperes: zero + slope·raw. A supply that the sensor follows and a temperature are taken at their
// nominal values.
type line struct{ zero, slope float64 }

func (l line) at(raw float64) float64 { return l.zero + l.slope*raw }

// lineOf composes the conversion of a channel from its configuration and what the driver told; known is false while a part is missing.
func lineOf(ch Channel, facts InputFacts) (l line, known bool) {
	switch {
	case ch.Shunt != nil:
		l, known = voltsOf(ch.Shunt.Converter, facts)
		l = l.scaled(1 / (ch.Shunt.Gain * ch.Shunt.ResistanceOhms))
	case ch.Magnetic != nil:
		m := ch.Magnetic
		l, known = voltsOf(m.Converter, facts)
		l.zero -= m.ZeroVolts
		l = l.scaled(1 / (m.VoltsPerAmpere * float64(m.PrimaryTurns)))
	default:
		l, known = line{slope: 1}, true
	}
	if ch.Reversed {
		l = l.scaled(-1)
	}
	if ch.Calibration != nil {
		l.zero -= ch.Calibration.OffsetAmperes
		l = l.scaled(1 / *ch.Calibration.Gain)
	}
	return l, known && !math.IsInf(l.slope, 0) && !math.IsInf(l.zero, 0)
}

func (l line) scaled(by float64) line { return line{l.zero * by, l.slope * by} }

// voltsOf gives the volts at the converter's input. What the configuration says stands before what the driver says.
func voltsOf(c Converter, facts InputFacts) (l line, known bool) {
	if facts.Unit == "V" && c.VoltsPerCount == nil {
		return line{slope: 1}, true
	}
	l = line{zero: facts.ZeroCodeVolts, slope: facts.VoltsPerCode}
	if c.ZeroCountVolts != nil {
		l.zero = *c.ZeroCountVolts
	}
	if c.VoltsPerCount != nil {
		l.slope = *c.VoltsPerCount
	}
	return l, l.slope != 0
}

// codesOf gives the limits of the converter: the driver's, or two's complement of so many bits.
func codesOf(ch Channel, facts InputFacts) (least, greatest float64, told bool) {
	if facts.RangeKnown {
		return facts.MinimumCode, facts.MaximumCode, true
	}
	bits := 0
	switch {
	case ch.Shunt != nil:
		bits = ch.Shunt.Bits
	case ch.Magnetic != nil:
		bits = ch.Magnetic.Bits
	}
	half := math.Ldexp(1, bits-1)
	return -half, half - 1, bits > 0
}
