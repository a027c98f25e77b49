package score

import "gonum.org/v1/gonum/stat/distuv"

// tail is the probability on either side of a 95 % interval.
const tail = 0.025

// ClopperPearson gives the exact 95 % interval of a probability that showed itself in k of n independent trials (C. J. Clopper and
// E. S. Pearson, Biometrika 26 (1934) 404–413): it holds the truth in at least 95 % of all cases, most often in more.
func ClopperPearson(k, n int) (lower, upper float64) {
	lower, upper = 0, 1
	if k > 0 {
		lower = distuv.Beta{Alpha: float64(k), Beta: float64(n - k + 1)}.Quantile(tail)
	}
	if k < n {
		upper = distuv.Beta{Alpha: float64(k + 1), Beta: float64(n - k)}.Quantile(1 - tail)
	}
	return lower, upper
}

// MeanSquareBand gives where the mean of n independent squares of a standard normal variable lies in 95 % of all cases: χ² of n degrees
// of freedom, divided by n.
func MeanSquareBand(n int) (lower, upper float64) {
	squares := distuv.ChiSquared{K: float64(n)}
	return squares.Quantile(tail) / float64(n), squares.Quantile(1-tail) / float64(n)
}
