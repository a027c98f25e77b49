package fusion

import "math"

// least is the part of a channel's variance that the others must leave unexplained. Below it the covariances as good as say that one channel's
// error is a multiple of another's, and weights would be made of rounding.
const least = 1e-12

// solve gives w = C⁻¹1/(1ᵀC⁻¹1) for the channels of a set. It tells if it can: if C is positive definite by more than rounding.
func solve(c *matrix, of set) (w vector, ok bool) {
	var lower matrix // C = L·D·Lᵀ with ones on the diagonal of L
	var d, y vector  // D, and L⁻¹1
	for i := range MostChannels {
		if !of.has(i) {
			continue
		}
		if d[i], y[i] = eliminate(c, of, i, &lower, &d, &y); !(d[i] > least*c[i][i]) {
			return w, false
		}
	}
	total := 0.0
	for i := MostChannels - 1; i >= 0; i-- {
		if of.has(i) {
			w[i] = y[i] / d[i]
			for j := i + 1; j < MostChannels; j++ {
				w[i] -= float64(lower[j][i] * w[j])
			}
			total += w[i]
		}
	}
	for i := range w {
		w[i] /= total
	}
	return w, finite(total) && total > 0
}

// eliminate fills row i of L and gives the same row of D and of L⁻¹1.
func eliminate(c *matrix, of set, i int, lower *matrix, d, y *vector) (pivot, right float64) {
	pivot, right = c[i][i], 1
	for j := range i {
		if !of.has(j) {
			continue
		}
		rest := c[i][j]
		for k := range j {
			rest -= float64(float64(lower[i][k]*lower[j][k]) * d[k])
		}
		lower[i][j] = rest / d[j]
		pivot -= float64(lower[i][j] * rest)
		right -= float64(lower[i][j] * y[j])
	}
	return pivot, right
}

// byDiagonal weighs by the variances alone, w ∝ 1/C_ii. Channels without any share the whole.
func byDiagonal(c *matrix, of set) (w vector) {
	best, total := math.Inf(1), 0.0
	for i := range w {
		if of.has(i) {
			best = min(best, c[i][i])
		}
	}
	for i := range w {
		if !of.has(i) {
			continue
		}
		w[i] = 1
		if c[i][i] > best {
			w[i] = best / c[i][i]
		}
		total += w[i]
	}
	for i := range w {
		w[i] /= total
	}
	return w
}

// variance gives wᵀCw.
func variance(c *matrix, w *vector) (total float64) {
	for i := range w {
		row := 0.0
		for j := range w {
			row += float64(c[i][j] * w[j])
		}
		total += float64(w[i] * row)
	}
	return total
}

// finite tells that x is neither NaN nor an infinity.
func finite(x float64) bool { return x-x == 0 }
