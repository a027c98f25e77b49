package polynomial

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Fit is a fitted polynomial.
type Fit struct {
	Shape
	Coefficients     []float64   // of x⁰, x¹ …, Degree+1 of them; through the origin the first is 0
	Covariance       [][]float64 // of them
	Residuals        []float64   // y less the curve, one a point, in the points' order
	Leverages        []float64   // of each point, 0 to 1: how much of the curve there is its own
	DegreesOfFreedom int         // points less coefficients
	SumOfSquares     float64     // of the residuals, weighted

	values        Values
	centre, scale float64   // t = (x − centre)/scale
	shifted       []float64 // coefficients of the fitted powers of t
	spread        *mat.SymDense
}

// New fits a curve. The error says what is wrong with the values: too few, all at one place, not finite, an uncertainty that is none.
func New(v Values, s Shape) (*Fit, error) {
	if err := v.check(s); err != nil {
		return nil, err
	}
	f := &Fit{Shape: s, values: v, DegreesOfFreedom: len(v.X) - s.terms()}
	f.centre, f.scale = place(v, s)
	if !f.solve() {
		return nil, errors.New("the points lie so close together that their places cannot be told apart in the arithmetic")
	}
	if v.Uncertainty == nil {
		f.spread.ScaleSym(f.SumOfSquares/float64(f.DegreesOfFreedom), f.spread)
	}
	f.expand()
	return f, nil
}

// place gives the shift and scale that make the columns easy to tell apart.
func place(v Values, s Shape) (centre, scale float64) {
	if !s.ThroughOrigin {
		sum, weights := 0.0, 0.0
		for i, x := range v.X {
			w := v.weight(i) * v.weight(i)
			sum += w * (x - v.X[0]) // about the first, so that a great common part costs no digits
			weights += w
		}
		centre = v.X[0] + sum/weights
	}
	for _, x := range v.X {
		scale = max(scale, math.Abs(x-centre))
	}
	return centre, scale
}

// powers gives the fitted powers of t at a place.
func (f *Fit) powers(x float64) []float64 {
	t := (x - f.centre) / f.scale
	row := make([]float64, f.terms())
	for i, p := 0, math.Pow(t, float64(f.lowest())); i < len(row); i, p = i+1, p*t {
		row[i] = p
	}
	return row
}

// solve finds the coefficients, their covariance for uncertainties as stated, residuals and leverages.
func (f *Fit) solve() bool {
	n, k := len(f.values.X), f.terms()
	design, right := mat.NewDense(max(n, k), k, nil), mat.NewVecDense(max(n, k), nil)
	for i, x := range f.values.X {
		w := f.values.weight(i)
		for j, p := range f.powers(x) {
			design.Set(i, j, w*p)
		}
		right.SetVec(i, w*f.values.Y[i])
	}
	var qr mat.QR
	qr.Factorize(design)
	const worst = 1e12 // of the condition; beyond it the figures would be noise
	if !(qr.Cond() < worst) {
		return false
	}
	var solution mat.VecDense
	var triangle, inverse mat.Dense
	qr.RTo(&triangle)
	if qr.SolveVecTo(&solution, false, right) != nil || inverse.Inverse(triangle.Slice(0, k, 0, k)) != nil {
		return false
	}
	f.shifted = solution.RawVector().Data
	f.spread = mat.NewSymDense(k, nil)
	f.spread.SymOuterK(1, &inverse)
	f.residuals()
	return true
}

func (f *Fit) residuals() {
	for i, x := range f.values.X {
		w := f.values.weight(i)
		r := f.values.Y[i] - f.at(x)
		f.Residuals = append(f.Residuals, r)
		f.Leverages = append(f.Leverages, w*w*f.variance(x))
		f.SumOfSquares += (w * r) * (w * r)
	}
}

func (f *Fit) at(x float64) (y float64) {
	for i, p := range f.powers(x) {
		y += f.shifted[i] * p
	}
	return y
}

func (f *Fit) variance(x float64) float64 {
	row := mat.NewVecDense(f.terms(), f.powers(x))
	return mat.Inner(row, f.spread, row)
}

// At gives the curve at a place and its standard uncertainty there, the covariances of the coefficients included.
func (f *Fit) At(x float64) (y, uncertainty float64) {
	return f.at(x), math.Sqrt(f.variance(x))
}

// Slope gives the curve's derivative at a place.
func (f *Fit) Slope(x float64) (slope float64) {
	t, p := (x-f.centre)/f.scale, 1.0
	for i := 1; i <= f.Degree; i++ {
		slope += float64(i) * f.shifted[i-f.lowest()] * p
		p *= t
	}
	return slope / f.scale
}

// ResidualDeviation is the standard deviation of the residuals about the curve; of weighted values it is the Birge ratio, which is about 1 if the stated
// uncertainties are those of the points. It is NaN if there are no more points than coefficients.
func (f *Fit) ResidualDeviation() float64 {
	if f.DegreesOfFreedom == 0 {
		return math.NaN()
	}
	return math.Sqrt(f.SumOfSquares / float64(f.DegreesOfFreedom))
}

// Consistency is the probability that points with the stated uncertainties, and errors of a normal distribution, lie as far from the curve or farther
// (χ²). A small one says that the uncertainties are too small or the curve is the wrong one. It is 1 if nothing can be told: no uncertainties, or no
// more points than coefficients.
func (f *Fit) Consistency() float64 {
	if f.values.Uncertainty == nil || f.DegreesOfFreedom == 0 {
		return 1
	}
	return distuv.ChiSquared{K: float64(f.DegreesOfFreedom)}.Survival(f.SumOfSquares)
}

// Correlation of two coefficients, by their powers of x.
func (f *Fit) Correlation(i, j int) float64 {
	return f.Covariance[i][j] / math.Sqrt(f.Covariance[i][i]*f.Covariance[j][j])
}
