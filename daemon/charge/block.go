package charge

import "math"

// blockReadings is how many readings are summed plainly before the compensated sums take over. In four lanes that is at most 16
// additions in a row: an error of a few units in the last place of the block, in a fraction of the time of compensating every reading.
const blockReadings = 64

// blocks adds readings that all stand for the same time.
func (i *integral) blocks(amperes []float64, seconds float64) {
	for len(amperes) > blockReadings {
		i.add(block(amperes[:blockReadings]), seconds)
		amperes = amperes[blockReadings:]
	}
	i.add(block(amperes), seconds)
}

// block adds the parts of a few readings. Most blocks flow one way and need one sum instead of two: half the time.
func block(amperes []float64) parts {
	if sums, ok := oneWay(amperes); ok {
		return sums
	}
	return bothWays(amperes)
}

// oneWay adds the parts of readings that all have the same sign, and tells if they have.
//
// It works in four lanes so that one addition need not wait for the one before; they are written out because only then do they live in
// registers.
func oneWay(amperes []float64) (sums parts, ok bool) {
	var t0, t1, t2, t3, s0, s1, s2, s3 float64
	some, every := uint64(0), ^uint64(0) // bits set in some reading, in every reading; the sign is the highest
	for ; len(amperes) >= 4; amperes = amperes[4:] {
		x0, x1, x2, x3 := amperes[0], amperes[1], amperes[2], amperes[3]
		b0, b1, b2, b3 := math.Float64bits(x0), math.Float64bits(x1), math.Float64bits(x2), math.Float64bits(x3)
		some, every = some|b0|b1|b2|b3, every&b0&b1&b2&b3
		t0, t1, t2, t3 = t0+x0, t1+x1, t2+x2, t3+x3
		s0, s1, s2, s3 = s0+float64(x0*x0), s1+float64(x1*x1), s2+float64(x2*x2), s3+float64(x3*x3)
	}
	for _, x := range amperes {
		some, every = some|math.Float64bits(x), every&math.Float64bits(x)
		t0, s0 = t0+x, s0+float64(x*x)
	}
	total, square := (t0+t1)+(t2+t3), (s0+s1)+(s2+s3)
	if int64(every) < 0 {
		return parts{negative: -total, square: square}, true
	}
	return parts{positive: total, square: square}, int64(some) >= 0
}

// bothWays adds the parts of readings of either sign, in lanes like oneWay.
func bothWays(amperes []float64) parts {
	var p0, p1, p2, p3, n0, n1, n2, n3, s0, s1, s2, s3 float64
	for ; len(amperes) >= 4; amperes = amperes[4:] {
		x0, x1, x2, x3 := amperes[0], amperes[1], amperes[2], amperes[3]
		a0, a1, a2, a3 := above(x0), above(x1), above(x2), above(x3)
		p0, p1, p2, p3 = p0+a0, p1+a1, p2+a2, p3+a3
		n0, n1, n2, n3 = n0+(a0-x0), n1+(a1-x1), n2+(a2-x2), n3+(a3-x3)
		s0, s1, s2, s3 = s0+float64(x0*x0), s1+float64(x1*x1), s2+float64(x2*x2), s3+float64(x3*x3)
	}
	for _, x := range amperes {
		a := above(x)
		p0, n0, s0 = p0+a, n0+(a-x), s0+float64(x*x)
	}
	return parts{(p0 + p1) + (p2 + p3), (n0 + n1) + (n2 + n3), (s0 + s1) + (s2 + s3)}
}
