package calibration

import (
	"fmt"
	"math"

	"github.com/ampledger/ampledger/daemon/metrology/polynomial"
)

// Circumstances are what a diagnosis needs to know beside the points.
type Circumstances struct {
	Shunt     bool    // the sensor is a shunt, whose sense leads may be on the wrong terminals
	GainLimit float64 // by so much the gain may be above 1 before a shunt's sense leads are suspected, above 0
	Within    float64 // reference currents no more than so many amperes apart are the same one, 0 or more
}

// Diagnosis is what the figures hint at. It is a hint: whoever calibrates looks at the wiring.
type Diagnosis struct {
	Subject string // in a word or two
	Text    string // in words, with what to do
}

const (
	oddChance     = 0.01 // probability below which chance is no explanation
	turnsWithin   = 0.03 // of a whole number, relative
	curvedFrom    = 5    // places
	outlierChance = 0.01
)

// Diagnose tells what offset, gain and scatter of the points hint at; nothing = nothing stands out.
func (c *Curve) Diagnose(of Circumstances) (found []Diagnosis) {
	add := func(subject, format string, values ...any) {
		found = append(found, Diagnosis{subject, fmt.Sprintf(format, values...)})
	}
	l := c.Line()
	if l.Gain < 0 {
		add("sign reversed", "the indication falls where the current rises (gain %.5g): the channel is mounted or wired backwards; turn it around, or write reversed: true", l.Gain)
	}
	gain := math.Abs(l.Gain)
	if turns, is := turnsOf(gain); is && !of.Shunt {
		add("primary turns", "the gain is %.5g, near %s: does the conductor pass the sensor so many times, and does primary_turns say so?", l.Gain, turns)
	} else if of.Shunt && gain-1 > of.GainLimit && gain-1 > 2*l.GainUncertainty {
		add("sense leads", "the gain is %.3g %% above 1, more than %.3g %%: the sense leads may be on the power terminals, whose resistance then counts as the shunt's; "+
			"put them on the shunt's own sense terminals", 100*(gain-1), 100*of.GainLimit)
	}
	if h := c.Hysteresis(of.Within); h.Seen() {
		add("hysteresis", "coming from above, the channel indicates %+.3g ± %.2g A other than coming from below (largest %+.3g A at %.4g A): a magnetic core remembers; "+
			"an estimator with hysteresis takes it into account, a calibration cannot", h.MeanAmperes, h.MeanUncertaintyAmperes, h.LargestAmperes, h.LargestAtAmperes)
	}
	if d, is := c.bends(of.Within); is {
		found = append(found, d)
	}
	for _, o := range c.Fit.Outliers(outlierChance) {
		add("outlier", "point %d (%.5g A) lies %+.3g A off the curve, farther from the others than chance explains: it counts all the same; look what happened there",
			o.Point+1, c.Points[o.Point].ReferenceAmperes, c.Fit.Residuals[o.Point])
	}
	return found
}

// turnsOf tells that a gain is near a whole number above 1, or its inverse.
func turnsOf(gain float64) (turns string, is bool) {
	n := math.Round(gain)
	if n >= 2 && math.Abs(gain/n-1) < turnsWithin {
		return fmt.Sprintf("%.0f", n), true
	}
	if n = math.Round(1 / gain); n >= 2 && !math.IsInf(n, 0) && math.Abs(gain*n-1) < turnsWithin {
		return fmt.Sprintf("1/%.0f", n), true
	}
	return "", false
}

// bends tells that a straight line misses the points more than chance explains, and a curve of the third degree does not nearly so.
func (c *Curve) bends(within float64) (d Diagnosis, is bool) {
	if c.Fit.Degree > 1 || len(c.Fit.Places(within)) < curvedFrom || !c.missed(within) {
		return d, false
	}
	curve, err := New(c.Points, polynomial.Shape{Degree: 3}, c.Common)
	if err != nil || !(curve.Birge < c.Birge) || !(math.Abs(curve.Fit.Coefficients[3]) > 3*math.Sqrt(curve.Fit.Covariance[3][3]) ||
		math.Abs(curve.Fit.Coefficients[2]) > 3*math.Sqrt(curve.Fit.Covariance[2][2])) {
		return d, false
	}
	middle := math.Abs(curve.Fit.Slope(0))
	if !c.Covers(0) {
		middle = math.Abs(curve.Fit.Slope(c.least))
		if math.Abs(c.greatest) < math.Abs(c.least) {
			middle = math.Abs(curve.Fit.Slope(c.greatest))
		}
	}
	ends := min(math.Abs(curve.Fit.Slope(c.least)), math.Abs(curve.Fit.Slope(c.greatest)))
	if ends < middle {
		return Diagnosis{"saturation", fmt.Sprintf("the channel's gain falls from %.5g at small currents to %.5g at the largest: it saturates, or its burden is too great; "+
			"take a curve (degree 3), or use it for smaller currents", middle, ends)}, true
	}
	return Diagnosis{"curvature", fmt.Sprintf("the channel's gain changes from %.5g at small currents to %.5g at the ends: no straight line; take a curve (degree 3)", middle,
		max(math.Abs(curve.Fit.Slope(c.least)), math.Abs(curve.Fit.Slope(c.greatest))))}, true
}

// missed tells that the points lie farther from the curve than their repeats, or their uncertainties, allow.
func (c *Curve) missed(within float64) bool {
	if l := c.Fit.LackOfFit(within); l.Told {
		return l.Probability < oddChance
	}
	return c.Fit.Consistency() < oddChance
}
