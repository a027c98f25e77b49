package stability

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// EDF gives the equivalent degrees of freedom of the overlapping Allan variance of phases phase points, one more than there are readings, at
// averaging factor m (NIST SP 1065, table of approximations, after Howe, Allan and Barnes 1981). It is never below 1.
func EDF(noise Noise, phases, m int) float64 {
	n, f := float64(phases), float64(m)
	edf := 1.0
	switch noise {
	case Violet:
		edf = (n + 1) * (n - 2*f) / (2 * (n - f))
	case Blue:
		edf = math.Exp(math.Sqrt(math.Log((n-1)/(2*f)) * math.Log((2*f+1)*(n-1)/4)))
	case White:
		edf = (3*(n-1)/(2*f) - 2*(n-2)/n) * 4 * f * f / (4*f*f + 5)
	case Flicker:
		if edf = 5 * n * n / (4 * f * (n + 3*f)); m == 1 {
			edf = 2 * (n - 2) * (n - 2) / (2.3*n - 4.9)
		}
	case RandomWalk:
		edf = (n - 2) / f * ((n-1)*(n-1) - 3*f*(n-1) + 4*f*f) / ((n - 3) * (n - 3))
	}
	if !(edf >= 1) || math.IsInf(edf, 1) {
		return 1
	}
	return edf
}

// chiSquareLimits gives the factors of a variance with so many degrees of freedom whose interval covers the true one.
func chiSquareLimits(freedom, coverage float64) (low, high float64) {
	if math.IsInf(freedom, 1) {
		return 1, 1
	}
	chi := distuv.ChiSquared{K: freedom}
	return freedom / chi.Quantile((1+coverage)/2), freedom / chi.Quantile((1-coverage)/2)
}
