package simulate

import "math"

// converter makes codes of volts.
type converter struct {
	least, most   float64 // codes
	voltsPerCode  float64
	zeroCodeVolts float64
}

// code rounds to the nearest code and stays within the range, at whose ends the daemon sees a saturated reading.
func (c *converter) code(volts float64) int32 {
	return int32(min(max(math.RoundToEven((volts-c.zeroCodeVolts)/c.voltsPerCode), c.least), c.most))
}

// imperfection is what makes a reading differ from the truth, in amperes of a reading.
type imperfection struct {
	noise, offset, gainError float64
}

// reading is the current with the errors of the sensor; chance is drawn from the standard normal distribution.
func (i *imperfection) reading(amperes, chance float64) float64 {
	return amperes + float64(i.gainError*amperes) + i.offset + float64(i.noise*chance)
}

// shunt is a resistance, an amplifier and a converter.
type shunt struct {
	converter
	imperfection
	ohms, gain             float64
	coefficient, reference float64 // of the resistance per kelvin, from a temperature in °C
}

func (s *shunt) code(now instant, chance float64) int32 {
	ohms := s.ohms * (1 + float64(s.coefficient*(now.celsius-s.reference)))
	return s.converter.code(s.reading(now.amperes, chance) * ohms * s.gain)
}

// magnetic is an isolated sensor with a voltage output, and a converter.
type magnetic struct {
	converter
	imperfection
	voltsPerAmpere, zeroVolts float64
	minimumVolts              float64 // of the output; infinite = no limit
	maximumVolts              float64
	drift, reference          float64 // amperes per kelvin, from a temperature in °C
}

func (m *magnetic) code(now instant, chance float64) int32 {
	amperes := m.reading(now.amperes, chance) + float64(m.drift*(now.celsius-m.reference))
	volts := m.zeroVolts + float64(amperes*m.voltsPerAmpere)
	return m.converter.code(min(max(volts, m.minimumVolts), m.maximumVolts))
}
