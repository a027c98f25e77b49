package budget

import (
	"errors"
	"fmt"
	"math"
)

// Distribution is what is known of where a value lies.
type Distribution int

// The distributions, with what their value is.
const (
	Normal      Distribution = iota // a standard uncertainty, or an expanded one with its factor as divisor
	Rectangular                     // half the width between limits, anything between them equally likely
	Triangular                      // half the width between limits, the middle the likeliest
	ArcSine                         // half the width between limits of something that swings between them
)

// String is the distribution's name.
func (d Distribution) String() string {
	return [...]string{"normal", "rectangular", "triangular", "arc sine"}[d]
}

// Divisor makes a standard uncertainty of the value (GUM 4.3.7, 4.3.9); that of a normal one is 1.
func (d Distribution) Divisor() float64 {
	return [...]float64{1, math.Sqrt(3), math.Sqrt(6), math.Sqrt2}[d]
}

// Contribution is one line of a budget.
type Contribution struct {
	Source           string
	Value            float64 // 0 or more, in Unit
	Unit             string
	Distribution     Distribution
	Divisor          float64 // greater than 0; the distribution's own, or the coverage factor of a stated expanded uncertainty
	Sensitivity      float64 // of the result to the value: units of the result for one of Unit
	DegreesOfFreedom float64 // of the standard uncertainty, greater than 0; +Inf for what is taken as exactly known
}

// Standard is the standard uncertainty of the value, in Unit.
func (c Contribution) Standard() float64 { return c.Value / c.Divisor }

// Amount is what it adds to the result's standard uncertainty were it alone.
func (c Contribution) Amount() float64 { return math.Abs(c.Sensitivity) * c.Standard() }

func (c Contribution) check() error {
	switch {
	case !(c.Value >= 0) || math.IsInf(c.Value, 1):
		return fmt.Errorf("%s: the value is %g: it must be finite and not negative", c.Source, c.Value)
	case !(c.Divisor > 0) || math.IsInf(c.Divisor, 1):
		return fmt.Errorf("%s: the divisor is %g: it must be finite and greater than 0", c.Source, c.Divisor)
	case !(c.DegreesOfFreedom > 0):
		return fmt.Errorf("%s: %g degrees of freedom: they must be greater than 0", c.Source, c.DegreesOfFreedom)
	case math.IsNaN(c.Sensitivity) || math.IsInf(c.Sensitivity, 0):
		return fmt.Errorf("%s: the sensitivity is %g: it must be finite", c.Source, c.Sensitivity)
	}
	return nil
}

// Check tells what is wrong with the lines of a budget.
func (b Budget) Check() (err error) {
	for _, c := range b {
		err = errors.Join(err, c.check())
	}
	return err
}
