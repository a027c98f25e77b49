package fusion_test

import (
	"math"
	"math/big"
)

// slowWeights tries each set of the channels used and keeps the best weights of which none is negative.
func slowWeights(c [][]float64, used uint) []float64 {
	best, least := []float64(nil), math.Inf(1)
	for tried := uint(1); tried < 1<<len(c); tried++ {
		if tried&^used != 0 {
			continue
		}
		w := scattered(bestWeights(part(c, tried)), tried, len(c))
		if v := quadratic(c, w); nonNegative(w) && v < least {
			best, least = w, v
		}
	}
	return best
}

// part gives the rows and columns of some channels.
func part(c [][]float64, used uint) (of [][]float64) {
	for i := range c {
		if used>>i&1 == 0 {
			continue
		}
		var row []float64
		for j := range c {
			if used>>j&1 != 0 {
				row = append(row, c[i][j])
			}
		}
		of = append(of, row)
	}
	return of
}

// scattered puts weights where their channels are.
func scattered(w []float64, used uint, channels int) []float64 {
	all := make([]float64, channels)
	for i := range all {
		if used>>i&1 != 0 {
			all[i], w = w[0], w[1:]
		}
	}
	return all
}

func nonNegative(w []float64) bool {
	for _, each := range w {
		if each < 0 {
			return false
		}
	}
	return true
}

// quadratic gives wᵀCw.
func quadratic(c [][]float64, w []float64) (total float64) {
	for i := range w {
		for j := range w {
			total += w[i] * c[i][j] * w[j]
		}
	}
	return total
}

// bestWeights solves C·x = 1 as at school, in long numbers, and gives x over its sum.
func bestWeights(c [][]float64) []float64 {
	n := len(c)
	rows := make([][]*big.Float, n) // C and a column of ones
	for i := range rows {
		for j := range n {
			rows[i] = append(rows[i], long(c[i][j]))
		}
		rows[i] = append(rows[i], long(1))
	}
	for i := range n {
		for j := range n {
			if j != i {
				factor := long(0).Quo(rows[j][i], rows[i][i])
				for k := range rows[j] {
					rows[j][k] = long(0).Sub(rows[j][k], long(0).Mul(factor, rows[i][k]))
				}
			}
		}
	}
	total, x := long(0), make([]*big.Float, n)
	for i := range x {
		x[i] = long(0).Quo(rows[i][n], rows[i][i])
		total.Add(total, x[i])
	}
	w := make([]float64, n)
	for i := range w {
		w[i], _ = long(0).Quo(x[i], total).Float64()
	}
	return w
}

func long(x float64) *big.Float { return new(big.Float).SetPrec(400).SetFloat64(x) }
