package polynomial

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// LackOfFit compares how far the curve passes by the means of repeated points with how far the repeats scatter about their means.
type LackOfFit struct {
	Ratio           float64 // F: mean square of the lack of fit over that of the scatter
	CurveFreedom    int     // of the numerator: places less coefficients
	RepeatFreedom   int     // of the denominator: points less places
	Probability     float64 // of such a ratio, or a greater one, if the curve is the right one
	RepeatDeviation float64 // standard deviation of the repeats about their means; of weighted values in units of their uncertainties
	Told            bool    // false = no repeats that differ, or no more places than coefficients; the rest is 0 then
}

// LackOfFit takes points whose x differ by no more than within from the first of their place, in ascending order, as repeats. Their residuals are
// compared, so that repeats at nearly the same x are no worse than at the very same. within is 0 or more.
func (f *Fit) LackOfFit(within float64) LackOfFit {
	places := f.Places(within)
	l := LackOfFit{CurveFreedom: len(places) - f.terms(), RepeatFreedom: len(f.Residuals) - len(places)}
	scatter, passing := 0.0, 0.0
	for _, place := range places {
		mean, weights := f.meanResidual(place)
		passing += weights * mean * mean
		for _, i := range place {
			d := f.values.weight(i) * (f.Residuals[i] - mean)
			scatter += d * d
		}
	}
	if l.CurveFreedom < 1 || l.RepeatFreedom < 1 || scatter == 0 { // repeats that are equal to the last digit tell nothing of their scatter
		return LackOfFit{}
	}
	l.RepeatDeviation = math.Sqrt(scatter / float64(l.RepeatFreedom))
	l.Ratio = passing / float64(l.CurveFreedom) / (scatter / float64(l.RepeatFreedom))
	l.Probability = distuv.F{D1: float64(l.CurveFreedom), D2: float64(l.RepeatFreedom)}.Survival(l.Ratio)
	l.Told = true
	return l
}

func (f *Fit) meanResidual(place []int) (mean, weights float64) {
	for _, i := range place {
		w := f.values.weight(i) * f.values.weight(i)
		mean += w * f.Residuals[i]
		weights += w
	}
	return mean / weights, weights
}
