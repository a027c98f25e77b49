package stability

import "math"

// bridge appends values not known yet.
func bridge(means []float64, n int) []float64 {
	for range n {
		means = append(means, math.NaN())
	}
	return means
}

// straighten puts the straight line between its neighbours in the place of values not known. The first and the last are known.
func straighten(means []float64) {
	for i := 1; i < len(means); i++ {
		if !math.IsNaN(means[i]) {
			continue
		}
		to := i
		for math.IsNaN(means[to]) {
			to++
		}
		from := means[i-1]
		for k := i; k < to; k++ {
			means[k] = from + (means[to]-from)*float64(k-i+1)/float64(to-i+1)
		}
		i = to
	}
}
