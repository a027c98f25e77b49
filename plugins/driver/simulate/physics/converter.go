package physics

import "math"

// Converter makes codes of volts.
type Converter struct {
	LeastCode, MostCode float64 // whole numbers within 32 bits
	VoltsPerCode        float64 // above zero
	ZeroCodeVolts       float64
}

// Code rounds to the nearest code and stays within the range, at whose ends the daemon sees a saturated reading.
func (c *Converter) Code(volts float64) int32 {
	return int32(min(max(math.RoundToEven((volts-c.ZeroCodeVolts)/c.VoltsPerCode), c.LeastCode), c.MostCode))
}
