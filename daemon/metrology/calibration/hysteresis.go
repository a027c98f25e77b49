package calibration

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Hysteresis is how far the indications of one current lie apart, come to from below and from above.
type Hysteresis struct {
	Places                    int     // currents at which there are both; 0 = nothing can be told
	MeanAmperes               float64 // descending less ascending, over all such currents
	MeanUncertaintyAmperes    float64 // of the mean
	LargestAmperes            float64 // the largest such difference, with its sign
	LargestAtAmperes          float64 // where it is
	LargestUncertaintyAmperes float64 // of it
	Probability               float64 // of differences as great as these by chance (χ²)
}

// Seen tells that chance does not explain the differences: their probability is below 1 %.
func (h Hysteresis) Seen() bool { return h.Places > 0 && h.Probability < 0.01 }

// Hysteresis compares the points of both sweeps whose reference currents are no more than within apart, 0 or more. Distances from the curve are
// compared, so that a small difference of the currents does no harm. The uncertainties are those of the points.
func (c *Curve) Hysteresis(within float64) (h Hysteresis) {
	sum, weights, squares := 0.0, 0.0, 0.0
	for _, place := range c.Fit.Places(within) {
		up, ok := c.mean(place, Ascending)
		down, also := c.mean(place, Descending)
		if !ok || !also {
			continue
		}
		d, variance := down.residual-up.residual, down.variance+up.variance
		if h.Places++; h.Places == 1 || math.Abs(d) > math.Abs(h.LargestAmperes) {
			h.LargestAmperes, h.LargestAtAmperes, h.LargestUncertaintyAmperes = d, c.Points[place[0]].ReferenceAmperes, math.Sqrt(variance)
		}
		sum, weights, squares = sum+d/variance, weights+1/variance, squares+d*d/variance
	}
	if h.Places == 0 {
		return h
	}
	h.MeanAmperes, h.MeanUncertaintyAmperes = sum/weights, 1/math.Sqrt(weights)
	h.Probability = distuv.ChiSquared{K: float64(h.Places)}.Survival(squares)
	return h
}

// side is the weighted mean of one sweep's points at a place.
type side struct{ residual, variance float64 }

func (c *Curve) mean(place []int, of Sweep) (s side, any bool) {
	weights := 0.0
	for _, i := range place {
		p := c.Points[i]
		if p.Sweep != of {
			continue
		}
		w := 1 / (square(p.IndicatedUncertaintyAmperes) + square(c.Fit.Slope(p.ReferenceAmperes)*p.ReferenceUncertaintyAmperes))
		s.residual += w * c.Fit.Residuals[i]
		weights += w
	}
	if weights == 0 {
		return s, false
	}
	return side{s.residual / weights, 1 / weights}, true
}
