package polynomial

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// expand makes the coefficients of powers of x, and their covariance, of those of t: tᵖ = Σ C(p,i)·xⁱ·(−centre)ᵖ⁻ⁱ / scaleᵖ.
func (f *Fit) expand() {
	size, low := f.Degree+1, f.lowest()
	change := mat.NewDense(size, f.terms(), nil)
	for column := range f.terms() {
		power := column + low
		for i := range power + 1 {
			shift := math.Pow(-f.centre, float64(power-i)) // 0⁰ is 1
			change.Set(i, column, binomial[power][i]*shift/math.Pow(f.scale, float64(power)))
		}
	}
	var covariance, product mat.Dense
	product.Mul(change, f.spread)
	covariance.Mul(&product, change.T())
	var coefficients mat.VecDense
	coefficients.MulVec(change, mat.NewVecDense(f.terms(), f.shifted))
	f.Coefficients = coefficients.RawVector().Data
	for i := range size {
		f.Covariance = append(f.Covariance, mat.Row(nil, i, &covariance))
	}
}

var binomial = [4][4]float64{{1}, {1, 1}, {1, 2, 1}, {1, 3, 3, 1}}
