package calibration

import "math"

// Line is the straight part of a curve: y = (x − OffsetAmperes)/Gain.
type Line struct {
	OffsetAmperes            float64 // a₀: indication at no current
	OffsetUncertaintyAmperes float64
	Gain                     float64 // a₁: indicated over true amperes at no current
	GainUncertainty          float64
	Correlation              float64 // of the two, −1 to 1
}

// Line gives offset and gain with their uncertainties, what is common to the reference included.
func (c *Curve) Line() Line {
	f, e := c.Fit, c.Enlarged*c.Enlarged
	gain := f.Coefficients[1]
	offset := e*f.Covariance[0][0] + square(gain*c.Common.OffsetAmperes)
	slope := e*f.Covariance[1][1] + square(gain*c.Common.GainRatio)
	l := Line{OffsetAmperes: f.Coefficients[0], OffsetUncertaintyAmperes: math.Sqrt(offset), Gain: gain, GainUncertainty: math.Sqrt(slope)}
	if offset > 0 {
		l.Correlation = e * f.Covariance[0][1] / math.Sqrt(offset*slope)
	}
	return l
}

func square(v float64) float64 { return v * v }
