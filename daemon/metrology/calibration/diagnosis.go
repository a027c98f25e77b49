package calibration

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"github.com/ampledger/ampledger/daemon/metrology/polynomial"
)

// Fault is what a calibration shows to be wrong with a channel.
type Fault int

// The faults, in the order in which Diagnose tells them.
const (
	Backwards    Fault = iota + 1 // the sign is the other one
	Turns                         // the gain is near a whole number, or one over it: the primary turns stated are not those there are
	SenseLeads                    // a shunt reads too high, as if its terminals were sensed as well
	Bent                          // the indication is no straight line over the current; less steep at the ends, it saturates
	Hysteretical                  // ascending and descending points differ
	Apart                         // a point lies far from the curve of the others
)

// Diagnosis is a fault with its figures in words.
type Diagnosis struct {
	Fault Fault
	Text  string
}

// Expectation is what the channel was built to be.
type Expectation struct {
	Shunt          bool    // a resistance: it has sense leads and no turns
	GainLimitRatio float64 // so much above 1 a shunt's gain is no tolerance any more; greater than 0, usually 0.01
	WithinAmperes  float64 // reference currents no farther apart count as the same; 0 or more
}

const (
	faultLevel  = 0.01 // probability below which chance is no explanation
	turnsWithin = 0.1  // a gain so near to a whole number, relative, is a matter of turns
	mostTurns   = 20
)

// Diagnose tells what is likely wrong with the channel, and nothing if the points show nothing. It looks at the straight part of the curve; each fault
// must be beyond the uncertainty of the figures that show it.
func (c *Curve) Diagnose(e Expectation) (found []Diagnosis) {
	add := func(fault Fault, format string, values ...any) {
		found = append(found, Diagnosis{fault, fmt.Sprintf(format, values...)})
	}
	l := c.Line()
	if l.Gain < -3*l.GainUncertainty {
		add(Backwards, "the sign is reversed (gain %.4g): the channel is mounted backwards; set reversed, or turn it around", l.Gain)
	}
	gain := math.Abs(l.Gain)
	if n, over := nearTurns(gain); n > 1 && !e.Shunt {
		if over {
			add(Turns, "the gain is %.4g, near 1/%d: the conductor goes through fewer times than primary_turns says", gain, n)
		} else {
			add(Turns, "the gain is %.4g, near %d: the conductor goes through %d times as often as primary_turns says", gain, n, n)
		}
	}
	if e.Shunt && gain > 1+e.GainLimitRatio && gain-3*l.GainUncertainty > 1 {
		add(SenseLeads, "the gain is %.2f %% too high: the sense leads may be on the power terminals", 100*(gain-1))
	}
	if text := c.bent(); text != "" {
		add(Bent, "%s", text)
	}
	if h := c.Hysteresis(e.WithinAmperes); h.Seen() {
		add(Hysteretical, "points come to from above lie %+.3g A from those come to from below at %.4g A: hysteresis", h.LargestAmperes, h.LargestAtAmperes)
	}
	for _, o := range c.Fit.Outliers(faultLevel) {
		add(Apart, "point %d lies %.1f standard deviations from the curve of the others; it is not left out", o.Point+1, math.Abs(o.Distance))
	}
	return found
}

// nearTurns gives the whole number that a gain, or one over it, is near; 0 = none.
func nearTurns(gain float64) (n int, over bool) {
	if over = gain < 1; over {
		gain = 1 / gain
	}
	nearest := math.Round(gain)
	if nearest < 2 || nearest > mostTurns || math.Abs(gain/nearest-1) > turnsWithin {
		return 0, over
	}
	return int(nearest), over
}

// bent compares a straight line with a cubic through the same points: an F test of what the two terms more explain. The scatter is that about the cubic, so
// that stated uncertainties that are too small or too large change nothing.
func (c *Curve) bent() string {
	line, err := New(c.Points, polynomial.Shape{Degree: 1}, c.Common)
	if err != nil {
		return ""
	}
	cubic, err := New(c.Points, polynomial.Shape{Degree: 3}, c.Common)
	if err != nil || cubic.Fit.DegreesOfFreedom < 1 || cubic.Fit.SumOfSquares == 0 {
		return "" // too few currents to tell, or no scatter to tell it by
	}
	freedom := float64(cubic.Fit.DegreesOfFreedom)
	ratio := (line.Fit.SumOfSquares - cubic.Fit.SumOfSquares) / 2 / (cubic.Fit.SumOfSquares / freedom)
	if (distuv.F{D1: 2, D2: freedom}).Survival(max(0, ratio)) >= faultLevel {
		return ""
	}
	low, high := math.Abs(cubic.Fit.Slope(c.least)), math.Abs(cubic.Fit.Slope(c.greatest))
	middle := math.Abs(cubic.Fit.Slope((c.least + c.greatest) / 2))
	if min(low, high) < middle {
		return fmt.Sprintf("the indication bends: at the end of its span it rises by %.4g A for an ampere, in the middle by %.4g A; it saturates", min(low, high), middle)
	}
	return fmt.Sprintf("the indication bends: it rises by %.4g A for an ampere in the middle of its span and by %.4g A at the end; fit a curve", middle, max(low, high))
}
