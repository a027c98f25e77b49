package sensor

import (
	"errors"
	"fmt"
	"math"
)

// Correction is what commissioning found of a channel. With u the amperes by the configuration alone, T the temperature and I what is given out:
//
//	u − PerKelvin·(T − ReferenceCelsius) = c₀ + c₁·I + c₂·I² + c₃·I³
//
// A curve is known between the least and the greatest current it was found at. Beyond them it goes on straight, with the slope it has there: so
// it turns nowhere, and every reading, one at the sensor's limit too, is some current that a guard can look at.
type Correction struct {
	Coefficients     [4]float64 // c₀ to c₃, for amperes; c₁ > 0
	Least, Greatest  float64    // amperes between which a curve was found; both 0 = everywhere, and where it has no current it gives none
	PerKelvin        float64    // of the zero, A/K; 0 = it does not follow the temperature
	ReferenceCelsius float64
	ZeroAmperes      *float64 // standard uncertainty of the zero from then on, as Config has it; nil = as configured
	GainRatio        *float64 // likewise of the gain
}

// NoCorrection leaves readings as they are.
var NoCorrection = Correction{Coefficients: [4]float64{0, 1, 0, 0}}

// isCurved tells that a straight line does not do.
func (c *Correction) isCurved() bool { return c.Coefficients[2] != 0 || c.Coefficients[3] != 0 }

// Beneath gives what is in force if beneath was and, of what it gave out, later was found: the latter's uncertainties and its drift beside that of beneath,
// all at one reference. An error tells that the two make no curve of the third degree at most, or no line over temperature.
func (c Correction) Beneath(later Correction) (Correction, error) {
	switch {
	case later.isCurved():
		c.Least, c.Greatest = later.Least, later.Greatest
	case c.isCurved() && (c.Least != 0 || c.Greatest != 0): // in what is given out then
		c.Least, c.Greatest = later.invert(c.Least), later.invert(c.Greatest)
	}
	if c.isCurved() && later.isCurved() {
		return Correction{}, errors.New("a curve is in force already, and a curve on a curve is none of the third degree: revert the one in force and calibrate anew")
	}
	if later.PerKelvin != 0 && c.isCurved() {
		return Correction{}, errors.New("a curve is in force, through which a drift of the zero is no line: revert the curve and begin with the drift")
	}
	gain := c.Coefficients[1]
	sum, power := [4]float64{}, []float64{1}
	for _, k := range c.Coefficients {
		for i, p := range power {
			if k != 0 {
				sum[i] += k * p
			}
		}
		power = times(power, later.Coefficients[:])
	}
	c.Coefficients = sum
	if later.PerKelvin != 0 { // of what was given out: through the line beneath it is gain times as much
		if c.PerKelvin == 0 {
			c.ReferenceCelsius = later.ReferenceCelsius
		}
		c.Coefficients[0] += gain * later.PerKelvin * (c.ReferenceCelsius - later.ReferenceCelsius)
		c.PerKelvin += gain * later.PerKelvin
	}
	c.ZeroAmperes, c.GainRatio = later.ZeroAmperes, later.GainRatio
	return c, nil
}

// invert gives what a line makes of an indication, at the reference.
func (c *Correction) invert(amperes float64) float64 {
	return (amperes - c.Coefficients[0]) / c.Coefficients[1]
}

// times multiplies two polynomials and leaves out what is 0 at the end, or beyond the third degree, which the caller has excluded.
func times(a, b []float64) []float64 {
	product := make([]float64, 4)
	for i, p := range a {
		for j, q := range b {
			if p != 0 && q != 0 && i+j < 4 {
				product[i+j] += p * q
			}
		}
	}
	return product
}

func (c *Correction) validate(temperature int) error {
	var faults []error
	k := c.Coefficients
	faults = append(faults, finite("correction", k[0], k[1], k[2], k[3], c.PerKelvin, c.ReferenceCelsius))
	if !(k[1] > 0) {
		faults = append(faults, fmt.Errorf("the correction's gain is %g: it must be above 0", k[1]))
	}
	if c.PerKelvin != 0 && temperature == None {
		faults = append(faults, errors.New("the zero's drift needs the channel's temperature, and none is wired"))
	}
	if b := bendOf(c); c.isCurved() && b.spanned && !b.rises() {
		faults = append(faults, fmt.Errorf("the correction's curve turns between %.6g and %.6g A, where it was found: two currents would give one indication", c.Least, c.Greatest))
	}
	faults = append(faults, finite("correction's span", c.Least, c.Greatest))
	for _, u := range []*float64{c.ZeroAmperes, c.GainRatio} {
		if u != nil && !(*u >= 0 && isFinite(*u)) {
			faults = append(faults, fmt.Errorf("the correction's uncertainty %g must be finite and not negative", *u))
		}
	}
	return errors.Join(faults...)
}

// line takes the straight part of the correction into a line from raw values.
func (c *Correction) line(l line, celsius float64) line {
	drift := c.PerKelvin * (celsius - c.ReferenceCelsius)
	return line{l.slope / c.Coefficients[1], (l.intercept-drift-c.Coefficients[0])/c.Coefficients[1] + 0}
}

// bend is what a correction has beside its line: v = y + two·y² + three·y³, between low and high; beyond them it goes on straight.
type bend struct {
	two, three float64
	spanned    bool // else it is so everywhere
	low, high  end
}

// end is where a bend becomes straight.
type end struct{ y, v, slope float64 }

func bendOf(c *Correction) bend {
	b := bend{two: c.Coefficients[2] / c.Coefficients[1], three: c.Coefficients[3] / c.Coefficients[1], spanned: c.Least != 0 || c.Greatest != 0}
	b.low, b.high = end{c.Least, b.curve(c.Least), b.slope(c.Least)}, end{c.Greatest, b.curve(c.Greatest), b.slope(c.Greatest)}
	return b
}

func (b *bend) curve(y float64) float64 { return y * (1 + y*(b.two+y*b.three)) }

func (b *bend) slope(y float64) float64 { return 1 + y*(2*b.two+3*y*b.three) }

// rises tells that the curve rises throughout its span: at both ends, and where its slope is least or greatest.
func (b *bend) rises() bool {
	if !(b.low.y < b.high.y && b.low.slope > 0 && b.high.slope > 0) {
		return false
	}
	turn := -b.two / (3 * b.three)
	return !(turn > b.low.y && turn < b.high.y) || b.slope(turn) > 0
}

// indication gives what a current is bent to.
func (b *bend) indication(y float64) float64 {
	switch {
	case b.spanned && y > b.high.y:
		return b.high.v + (y-b.high.y)*b.high.slope
	case b.spanned && y < b.low.y:
		return b.low.v + (y-b.low.y)*b.low.slope
	}
	return b.curve(y)
}

const (
	bendRounds = 60
	bendAgree  = 1e-14
)

// straighten solves for y.
func (b *bend) straighten(v float64) float64 {
	switch {
	case !b.spanned:
		return b.newton(v)
	case v >= b.high.v:
		return b.high.y + (v-b.high.v)/b.high.slope
	case v <= b.low.v:
		return b.low.y + (v-b.low.v)/b.low.slope
	case v != v:
		return v
	}
	return b.between(v)
}

// between solves within the span, where the curve rises: by Newton's method, and by halves where that would leave it.
func (b *bend) between(v float64) float64 {
	low, high := b.low.y, b.high.y
	y := min(max(v, low), high)
	for range bendRounds {
		off := b.curve(y) - v
		if off > 0 {
			high = y
		} else {
			low = y
		}
		next := y - off/b.slope(y)
		if !(next >= low && next <= high) {
			next = low + (high-low)/2
		}
		step := next - y
		if y = next; math.Abs(step) <= bendAgree*math.Abs(y) {
			break
		}
	}
	return y
}

// newton solves from v on; beyond the curve's turning point there is no current: NaN.
func (b *bend) newton(v float64) float64 {
	y := v
	for range bendRounds {
		slope := b.slope(y)
		if !(slope > 0) {
			return math.NaN()
		}
		step := (v - b.curve(y)) / slope
		if y += step; math.Abs(step) <= bendAgree*math.Abs(y) {
			return y
		}
	}
	return math.NaN()
}

// takeCorrection settles what follows from a correction before anything is converted.
func (s *Sensor) takeCorrection() {
	c := s.Correction
	if c == nil {
		return
	}
	s.isBent = c.isCurved()
	s.bend = bendOf(c)
	if c.ZeroAmperes != nil {
		s.ZeroAmperes = *c.ZeroAmperes
	}
	if c.GainRatio != nil {
		s.GainRatio = *c.GainRatio
	}
}

// unbend straightens readings that went through the line, and their extremes. False = one of them lies where the curve has no current.
func (s *Sensor) unbend(amperes []float64, least, greatest *float64) bool {
	for k, v := range amperes {
		amperes[k] = s.bend.straighten(v)
	}
	*least, *greatest = s.bend.straighten(*least), s.bend.straighten(*greatest)
	return *least-*greatest == *least-*greatest // the curve is monotonic between two currents that it has
}
