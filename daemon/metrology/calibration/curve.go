package calibration

import (
	"fmt"
	"math"

	"github.com/ampledger/ampledger/daemon/metrology/polynomial"
)

// Curve is a channel's indication over the current.
type Curve struct {
	Points   []Point         // as they were given
	Fit      *polynomial.Fit // indication over reference current, weighted; its covariance is not enlarged
	Common   Common
	Birge    float64 // standard deviation of the residuals in units of their uncertainties; NaN if nothing is left to tell it by
	Enlarged float64 // factor that the uncertainties of Fit are multiplied by: 1, or Birge

	least, greatest float64 // of the reference currents
}

const (
	weighRounds   = 20
	weighAgree    = 1e-12
	inconsistent  = 0.05 // probability below which points and uncertainties disagree
	inverseRounds = 100
)

// New fits a curve to points. The error tells of every point that is none, or why the points make no such curve: fewer than two, all at one current,
// or a curve that turns around between them.
func New(points []Point, shape polynomial.Shape, common Common) (*Curve, error) {
	if err := check(points, common); err != nil {
		return nil, err
	}
	c := &Curve{Points: points, Common: common, Enlarged: 1, least: math.Inf(1), greatest: math.Inf(-1)}
	for _, p := range points {
		c.least, c.greatest = min(c.least, p.ReferenceAmperes), max(c.greatest, p.ReferenceAmperes)
	}
	if err := c.weigh(shape); err != nil {
		return nil, err
	}
	if c.Birge = c.Fit.ResidualDeviation(); c.Birge > 1 && c.Fit.Consistency() < inconsistent {
		c.Enlarged = c.Birge
	}
	return c, nil
}

// weigh fits with the slope of the fit before, until the weights stay.
func (c *Curve) weigh(shape polynomial.Shape) (err error) {
	v := polynomial.Values{Uncertainty: make([]float64, len(c.Points))}
	for _, p := range c.Points {
		v.X, v.Y = append(v.X, p.ReferenceAmperes), append(v.Y, p.IndicatedAmperes)
	}
	slope := func(float64) float64 { return 1 }
	for range weighRounds {
		moved := 0.0
		for i, p := range c.Points {
			u := math.Hypot(p.IndicatedUncertaintyAmperes, slope(p.ReferenceAmperes)*p.ReferenceUncertaintyAmperes)
			moved = max(moved, math.Abs(u/v.Uncertainty[i]-1))
			v.Uncertainty[i] = u
		}
		if moved < weighAgree {
			return nil
		}
		if c.Fit, err = polynomial.New(v, shape); err != nil {
			return err
		}
		if err := c.monotonic(); err != nil {
			return err // its slope could not weigh the points either
		}
		slope = c.Fit.Slope
	}
	return nil
}

// monotonic refuses a curve that gives two currents for one indication.
func (c *Curve) monotonic() error {
	const steps = 1000
	first := c.Fit.Slope(c.least)
	for i := range steps + 1 {
		at := c.least + (c.greatest-c.least)*float64(i)/steps
		if !(c.Fit.Slope(at)*first > 0) {
			return fmt.Errorf("the curve turns around at %.4g A, so that one indication would mean two currents: take a lower degree, or look at the points there", at)
		}
	}
	return nil
}

// Indication gives what the channel shows at a current, and the uncertainty of the curve there: that of the points, and what is common to all of the reference.
func (c *Curve) Indication(amperes float64) (indicated, uncertainty float64) {
	x, u := c.Fit.At(amperes)
	return x, math.Hypot(c.Enlarged*u, c.Fit.Slope(amperes)*c.common(amperes))
}

// common is the uncertainty of a reference current that all points share.
func (c *Curve) common(amperes float64) float64 {
	return math.Hypot(c.Common.OffsetAmperes, c.Common.GainRatio*amperes)
}

// Current gives the current that an indication stands for, and the uncertainty that the calibration leaves in it; the indication's own noise is not
// in it. An indication beyond the curve's turning point has none: NaN.
func (c *Curve) Current(indicated float64) (amperes, uncertainty float64) {
	amperes = c.invert(indicated)
	_, u := c.Indication(amperes)
	return amperes, u / math.Abs(c.Fit.Slope(amperes))
}

// invert solves the curve for a current by Newton's method, from the straight line between its ends.
func (c *Curve) invert(indicated float64) float64 {
	low, _ := c.Fit.At(c.least)
	high, _ := c.Fit.At(c.greatest)
	at := c.least + (indicated-low)*(c.greatest-c.least)/(high-low)
	rising := c.Fit.Slope(c.least)
	for range inverseRounds {
		x, _ := c.Fit.At(at)
		slope := c.Fit.Slope(at)
		if !(slope*rising > 0) {
			return math.NaN()
		}
		step := (indicated - x) / slope
		if at += step; math.Abs(step) <= 1e-13*(math.Abs(at)+math.Abs(c.greatest-c.least)) {
			return at
		}
	}
	return math.NaN()
}

// Covers tells that a current lies within the span of the points.
func (c *Curve) Covers(amperes float64) bool { return amperes >= c.least && amperes <= c.greatest }
