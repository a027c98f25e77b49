package sensor

import (
	"errors"
	"fmt"
	"math"
)

// Correction is what commissioning found of a channel. With u the amperes by the configuration alone, T the temperature and I what is given out:
//
//	u − PerKelvin·(T − ReferenceCelsius) = c₀ + c₁·I + c₂·I² + c₃·I³
type Correction struct {
	Coefficients     [4]float64 // c₀ to c₃, for amperes; c₁ > 0
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

// bend is what a correction has beside its line: v = y + two·y² + three·y³.
type bend struct{ two, three float64 }

const (
	bendRounds = 50
	bendAgree  = 1e-14
)

// straighten solves for y by Newton's method, from v on; beyond the curve's turning point there is none: NaN.
func (b bend) straighten(v float64) float64 {
	y := v
	for range bendRounds {
		slope := 1 + y*(2*b.two+3*y*b.three)
		if !(slope > 0) {
			return math.NaN()
		}
		step := (v - y*(1+y*(b.two+y*b.three))) / slope
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
	s.bend = bend{c.Coefficients[2] / c.Coefficients[1], c.Coefficients[3] / c.Coefficients[1]}
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
