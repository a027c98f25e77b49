package polynomial

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Outlier is a point that lies farther from the curve of all others than chance explains. It is told, never left out.
type Outlier struct {
	Point       int     // its index
	Distance    float64 // from the curve through all others, in its standard uncertainty (externally studentised residual)
	Probability float64 // of such a distance for the farthest of so many points (Bonferroni's bound)
}

// Outliers gives the points whose probability is below a level, such as 0.01, in their order. The scatter is always taken from the residuals of the
// other points, not from stated uncertainties. With fewer than two points more than coefficients nothing can be told.
func (f *Fit) Outliers(level float64) (found []Outlier) {
	freedom := float64(f.DegreesOfFreedom - 1)
	if freedom < 1 {
		return nil
	}
	student := distuv.StudentsT{Sigma: 1, Nu: freedom}
	for i, r := range f.Residuals {
		distance := f.studentised(i, r, freedom)
		if p := min(1, 2*float64(len(f.Residuals))*student.Survival(math.Abs(distance))); p < level {
			found = append(found, Outlier{i, distance, p})
		}
	}
	return found
}

// studentised is the residual over its standard deviation, the point itself left out of both (Belsley, Kuh and Welsch 1980).
func (f *Fit) studentised(i int, residual, freedom float64) float64 {
	w, free := f.values.weight(i), 1-f.Leverages[i]
	if !(free > 1e-12) || f.SumOfSquares <= f.rounding() {
		return 0 // the curve goes through this point whatever it is, or through all of them: nothing can be told
	}
	squares := f.SumOfSquares - (w*residual)*(w*residual)/free
	if squares <= 1e-12*f.SumOfSquares {
		return math.Inf(int(math.Copysign(1, residual))) // all others lie on a curve to the last digit, and this one does not
	}
	return w * residual / math.Sqrt(squares/freedom*free)
}

// rounding is a sum of squares that the arithmetic alone may leave.
func (f *Fit) rounding() (sum float64) {
	for i, y := range f.values.Y {
		d := 1e-14 * f.values.weight(i) * y
		sum += d * d
	}
	return sum
}
