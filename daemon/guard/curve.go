package guard

import "math"

// curve is an inverse-time characteristic. With M = current over pickup and TM the time multiplier (the time dial of IEEE C37.112)
//
//	operate  t = TM·(k / (M^alpha - 1) + c)   for M > 1
//	reset    t = TM·reset / (1 - M²)          for 0 ≤ M < 1, from a fully operated start; reset = 0: the standard gives no law
//
// It has no upper end: where some standards let the time stay constant above 20 times pickup, it goes on falling, which errs to
// the side of operating sooner.
type curve struct {
	name            string
	k, alpha, c     float64 // A, p and B in the letters of IEEE C37.112
	reset           float64 // t_r, s
	integerExponent bool    // alpha is 1 or 2
}

// curves are those of IEC 60255-151 (A to C; D to F are IEEE C37.112's) and, last, one from BS 142 practice.
var curves = [...]curve{
	{name: "iec-standard-inverse", k: 0.14, alpha: 0.02},
	{name: "iec-very-inverse", k: 13.5, alpha: 1, integerExponent: true},
	{name: "iec-extremely-inverse", k: 80, alpha: 2, integerExponent: true},
	{name: "ieee-moderately-inverse", k: 0.0515, alpha: 0.02, c: 0.1140, reset: 4.85},
	{name: "ieee-very-inverse", k: 19.61, alpha: 2, c: 0.491, reset: 21.6, integerExponent: true},
	{name: "ieee-extremely-inverse", k: 28.2, alpha: 2, c: 0.1217, reset: 29.1, integerExponent: true},
	{name: "long-time-inverse", k: 120, alpha: 1, integerExponent: true},
}

// Curves names the characteristics an inverse-time element may have.
func Curves() []string {
	names := make([]string, len(curves))
	for i := range curves {
		names[i] = curves[i].name
	}
	return names
}

func findCurve(name string) *curve {
	for i := range curves {
		if curves[i].name == name {
			return &curves[i]
		}
	}
	return nil
}

// greatestMultiple bounds M, so that a reading beyond all sense cannot put an infinity into an integral.
const greatestMultiple = 1e6

// operateRate is 1/t at TM = 1, in 1/s, for M ≥ 1. Written with one division, it is 0 at M = 1, where t has no end; an M that rounding
// has put a bit below 1 counts back by as little.
func (c *curve) operateRate(multiple float64) float64 {
	if multiple > greatestMultiple {
		multiple = greatestMultiple
	}
	excess := c.excess(multiple)
	return excess / (c.k + c.c*excess)
}

// excess is M^alpha - 1. The exponential form costs half of math.Pow and keeps its digits close to M = 1.
func (c *curve) excess(multiple float64) float64 {
	if !c.integerExponent {
		return math.Expm1(c.alpha * math.Log(multiple))
	}
	if c.alpha == 1 {
		return multiple - 1
	}
	return multiple*multiple - 1
}

// resetRate is 1/t of the reset at TM = 1, in 1/s, for M < 1. A current on the other side resets like no current.
func (c *curve) resetRate(multiple float64) float64 {
	multiple = max(multiple, 0)
	return (1 - multiple*multiple) / c.reset
}
