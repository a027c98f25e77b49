package stability

// phasesOf gives the running sum of each segment's readings about their mean, beginning with 0: the charge, in ampere-intervals. A constant
// cancels in second differences; taken off first it costs no digits.
func phasesOf(g *Grid) [][]float64 {
	phases := make([][]float64, len(g.Segments))
	for i, s := range g.Segments {
		centre := mean(s.Amperes)
		x := make([]float64, len(s.Amperes)+1)
		for k, a := range s.Amperes {
			x[k+1] = x[k] + (a - centre)
		}
		phases[i] = x
	}
	return phases
}

// secondDifferences sums the squares of x[i+2m] − 2·x[i+m] + x[i] for i = 0, stride, 2·stride ….
func secondDifferences(x []float64, m, stride int) (squares float64, terms int) {
	for i := 0; i+2*m < len(x); i += stride {
		d := x[i+2*m] - 2*x[i+m] + x[i]
		squares += d * d
		terms++
	}
	return squares, terms
}

// averagedDifferences sums the squares of the sums of m second differences that follow one another.
func averagedDifferences(x []float64, m int) (squares float64, terms int) {
	sum := 0.0
	for i := 0; i+2*m < len(x); i++ {
		sum += x[i+2*m] - 2*x[i+m] + x[i]
		if i >= m {
			k := i - m
			sum -= x[k+2*m] - 2*x[k+m] + x[k]
		}
		if i >= m-1 {
			squares += sum * sum
			terms++
		}
	}
	return squares, terms
}
