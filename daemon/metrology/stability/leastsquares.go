package stability

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// nonNegative fits v = Σ θ·column over some of the columns with weights, no θ below zero. With so few columns every subset can be tried, which has no
// cases: the best of the subsets whose unconstrained solution is not negative is the constrained one.
func nonNegative(columns [][]float64, terms []int, v, weights []float64) []float64 {
	best, least := make([]float64, len(columns)), math.Inf(1)
	for subset := range 1 << len(terms) {
		var chosen []int
		for bit, k := range terms {
			if subset>>bit&1 == 1 {
				chosen = append(chosen, k)
			}
		}
		theta, ok := solve(columns, chosen, v, weights)
		if rest := residual(columns, theta, v, weights); ok && rest < least {
			best, least = theta, rest
		}
	}
	return best
}

// solve fits some of the columns; ok is false if they cannot be told apart or a coefficient is negative.
func solve(columns [][]float64, chosen []int, v, weights []float64) (theta []float64, ok bool) {
	theta = make([]float64, len(columns))
	if len(chosen) == 0 {
		return theta, true
	}
	right := mat.NewDense(len(v), 1, nil)
	for i, w := range weights {
		right.Set(i, 0, math.Sqrt(w)*v[i])
	}
	solution, ok := leastSquares(columns, chosen, weights, right)
	for row, k := range chosen {
		if ok {
			theta[k] = solution.At(row, 0)
			ok = theta[k] >= 0
		}
	}
	return theta, ok
}

// responses gives (XᵀWX)⁻¹XᵀW for some of the columns, a row a coefficient: how it answers to each value.
func responses(columns [][]float64, chosen []int, weights []float64) (rows [][]float64, ok bool) {
	right := mat.NewDense(len(weights), len(weights), nil)
	for i, w := range weights {
		right.Set(i, i, math.Sqrt(w))
	}
	solution, ok := leastSquares(columns, chosen, weights, right)
	if !ok {
		return nil, false
	}
	for row := range chosen {
		rows = append(rows, mat.Row(nil, row, solution))
	}
	return rows, true
}

// leastSquares solves for some of the columns, weighted, and each column of the right side, weighted already.
func leastSquares(columns [][]float64, chosen []int, weights []float64, right *mat.Dense) (solution *mat.Dense, ok bool) {
	n := len(weights)
	if len(chosen) > n {
		return nil, false
	}
	design := mat.NewDense(n, len(chosen), nil)
	scale := make([]float64, len(chosen))
	for c, k := range chosen {
		for i, x := range columns[k] {
			scale[c] += x * x * weights[i]
		}
		scale[c] = math.Sqrt(scale[c]) // the units differ by many powers of ten
		for i, x := range columns[k] {
			design.Set(i, c, x*math.Sqrt(weights[i])/scale[c])
		}
	}
	solution = new(mat.Dense)
	if solution.Solve(design, right) != nil {
		return nil, false
	}
	solution.Apply(func(row, _ int, v float64) float64 { return v / scale[row] }, solution)
	return solution, true
}

func residual(columns [][]float64, theta, v, weights []float64) float64 {
	sum := 0.0
	for i, x := range v {
		for k, column := range columns {
			x -= theta[k] * column[i]
		}
		sum += weights[i] * x * x
	}
	return sum
}

// quadratic is rᵀ·M·r.
func quadratic(r []float64, m [][]float64) float64 {
	sum := 0.0
	for i, a := range r {
		for j, b := range r {
			sum += a * m[i][j] * b
		}
	}
	return max(0, sum)
}
