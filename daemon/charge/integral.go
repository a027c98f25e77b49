package charge

import "math"

// shape says which part of an interval each of the readings at its ends stands for. The two add up to one.
type shape struct{ start, end float64 }

var (
	trapezoid = shape{0.5, 0.5} // samples
	rectangle = shape{0, 1}     // means over the interval that ends at the reading
)

// parts are what is integrated of one reading. At most one of positive and negative is not zero in a reading; in a sum both may be.
type parts struct {
	positive float64 // amperes above zero
	negative float64 // amperes below zero, as a magnitude
	square   float64 // amperes squared
}

// split gives the parts of one reading. Conversions like this one keep the compiler from fusing a product into the sum that takes it,
// which some machines can do and others cannot: the bits would differ.
func split(amperes float64) parts {
	positive := above(amperes)
	return parts{positive, positive - amperes, float64(amperes * amperes)}
}

// net gives the amperes with their sign.
func (p parts) net() float64 { return p.positive - p.negative }

// above gives the amperes above zero. The sign is spread into a mask, since currents change sign too often for a branch to be foreseen.
func above(amperes float64) float64 {
	bits := math.Float64bits(amperes)
	return math.Float64frombits(bits &^ uint64(int64(bits)>>63))
}

// between gives the mean over an interval from the readings at its ends. Halves and wholes multiply exactly, fused or not.
func (s shape) between(from, to parts) parts {
	return parts{
		s.start*from.positive + s.end*to.positive,
		s.start*from.negative + s.end*to.negative,
		s.start*from.square + s.end*to.square,
	}
}

// integral is the parts integrated over time: coulombs, and ampere-squared seconds.
type integral struct{ positive, negative, square sum }

// add adds mean over seconds.
func (i *integral) add(mean parts, seconds float64) {
	if mean.positive != 0 {
		i.positive.add(float64(mean.positive * seconds))
	}
	if mean.negative != 0 {
		i.negative.add(float64(mean.negative * seconds))
	}
	i.square.add(float64(mean.square * seconds))
}

// finite tells that nothing but finite readings went in. A single other one never leaves the square again.
func (i *integral) finite() bool { return finite(i.square.high) }

// finite tells that x is neither NaN nor an infinity.
func finite(x float64) bool { return x-x == 0 }

// seconds converts nanoseconds.
func seconds(nanos int64) float64 { return float64(nanos) / 1e9 }
