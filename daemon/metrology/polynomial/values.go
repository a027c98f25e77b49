package polynomial

import (
	"errors"
	"fmt"
	"math"
)

// Values are what is fitted.
type Values struct {
	X           []float64 // finite
	Y           []float64 // finite, as many
	Uncertainty []float64 // standard, of each y, greater than 0; nil = not known, the same for all
}

// Shape is which powers of x the curve has.
type Shape struct {
	Degree        int  // 1, 2 or 3
	ThroughOrigin bool // no constant: y = 0 at x = 0
}

// terms is how many coefficients are fitted.
func (s Shape) terms() int { return s.Degree + 1 - s.lowest() }

// lowest is the lowest power.
func (s Shape) lowest() int {
	if s.ThroughOrigin {
		return 1
	}
	return 0
}

// check tells why there is no fit of such a shape to the values.
func (v Values) check(s Shape) error {
	n := len(v.X)
	switch {
	case s.Degree < 1 || s.Degree > 3:
		return fmt.Errorf("a polynomial of degree %d is not fitted: 1, 2 or 3", s.Degree)
	case len(v.Y) != n || v.Uncertainty != nil && len(v.Uncertainty) != n:
		return errors.New("x, y and their uncertainties differ in number")
	}
	for i := range v.X {
		if !isFinite(v.X[i]) || !isFinite(v.Y[i]) {
			return fmt.Errorf("point %d is not finite", i+1)
		}
		if v.Uncertainty != nil && !(v.Uncertainty[i] > 0 && isFinite(v.Uncertainty[i])) {
			return fmt.Errorf("the uncertainty of point %d is %g: it must be finite and greater than 0", i+1, v.Uncertainty[i])
		}
	}
	if v.Uncertainty == nil && n <= s.terms() {
		return fmt.Errorf("%d point(s) leave no residuals to tell the uncertainty of %d coefficient(s) by: take more", n, s.terms())
	}
	return v.distinct(s)
}

// distinct counts the places; the origin is one for a curve that goes through it, and tells nothing new.
func (v Values) distinct(s Shape) error {
	seen := map[float64]bool{}
	for _, x := range v.X {
		if !s.ThroughOrigin || x != 0 {
			seen[x] = true
		}
	}
	if len(seen) < s.terms() {
		return fmt.Errorf("points at %d different place(s) cannot tell %d coefficient(s)", len(seen), s.terms())
	}
	return nil
}

// weight is the root of a point's weight.
func (v Values) weight(i int) float64 {
	if v.Uncertainty == nil {
		return 1
	}
	return 1 / v.Uncertainty[i]
}

func isFinite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }
