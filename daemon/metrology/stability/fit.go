package stability

import (
	"fmt"
	"math"
	"slices"
)

// FewestReadings is how many readings, or averages, a noise fit needs: six octaves.
const FewestReadings = 64

// fitRounds is how often the weights, which come from the fit, are renewed at most.
const fitRounds = 30

// Coefficient is a figure that is not negative, with what is known of it.
type Coefficient struct {
	Value               float64
	StandardUncertainty float64 // infinite if the log cannot tell
	Lower, Upper        float64 // limits of the interval of Coverage; 0 is the least there is
}

// Resolved tells whether the log shows that there is such a thing at all.
func (c Coefficient) Resolved() bool { return c.Lower > 0 }

// Model is the noise of a log in its parts.
type Model struct {
	WhiteDensity Coefficient // N, A·√s: after t seconds white noise has added N·√t to a charge, in C
	FlickerFloor Coefficient // B, A: where the deviation is flat it is 0.664·B
	WalkDensity  Coefficient // K, A/√s: after t seconds the zero has wandered K·√t
	Drift        Coefficient // R, A/s, without its sign
}

// FitNoise takes the overlapping Allan deviations of a grid at its octaves apart. Drift, then flicker, is left out of the fit that gives the other
// figures if the log does not show it: left in, it would take a part of the random walk by chance. Its own limits are those of the
// fit before. What little of it there may be counts to the walk then, which is the safe side.
func FitNoise(g *Grid, points []Point) (*Model, error) {
	if longest(g) < FewestReadings || len(points) < 6 {
		return nil, fmt.Errorf("the longest stretch without a gap has %d readings, a fit of the noise needs %d", longest(g), FewestReadings)
	}
	f := newFit(g, points)
	if f.empty() {
		return &Model{}, nil
	}
	terms := []int{whiteTerm, walkTerm, flickerTerm, driftTerm}
	result := f.run(terms)
	for len(terms) > 2 {
		last := terms[len(terms)-1]
		if result[last].Resolved() {
			break
		}
		terms = terms[:len(terms)-1]
		left := result
		result = f.run(terms)
		for _, term := range [...]int{flickerTerm, driftTerm} {
			if !slices.Contains(terms, term) {
				result[term] = Coefficient{0, left[term].StandardUncertainty, 0, left[term].Upper}
			}
		}
	}
	return &Model{result[whiteTerm], result[flickerTerm], result[walkTerm], result[driftTerm]}, nil
}

// fit is a fit in the making.
type fit struct {
	points    []Point
	spread    *spread
	columns   [][]float64 // of the model, one a term
	variances []float64
	weights   []float64
	theta     []float64
}

func newFit(g *Grid, points []Point) *fit {
	f := &fit{points: points, spread: newSpread(g, points), columns: make([][]float64, termCount), weights: make([]float64, len(points))}
	for _, p := range points {
		for k, b := range basis(p.TauSeconds) {
			f.columns[k] = append(f.columns[k], b)
		}
		f.variances = append(f.variances, p.DeviationAmperes*p.DeviationAmperes)
	}
	return f
}

// empty tells that there is no noise at all.
func (f *fit) empty() bool {
	for _, v := range f.variances {
		if v > 0 {
			return false
		}
	}
	return true
}

// run fits some of the terms, again and again with weights by the curve of the round before, not by the scattered values: those that
// came out too low by chance would weigh most.
func (f *fit) run(terms []int) [termCount]Coefficient {
	expected := f.smoothed()
	for range fitRounds {
		for i, p := range f.points {
			f.weights[i] = p.EDF / (2 * expected[i] * expected[i])
		}
		f.theta = nonNegative(f.columns, terms, f.variances, f.weights)
		before := expected
		if expected = f.curve(); same(before, expected) {
			break
		}
	}
	return f.coefficients(terms)
}

// smoothed is a first idea of the curve: no value counts for less than a part of the greatest one.
func (f *fit) smoothed() []float64 {
	most := 0.0
	for _, v := range f.variances {
		most = max(most, v)
	}
	expected := make([]float64, len(f.variances))
	for i, v := range f.variances {
		expected[i] = max(v, 1e-12*most)
	}
	return expected
}

func (f *fit) curve() []float64 {
	expected := make([]float64, len(f.points))
	for k, column := range f.columns {
		for i, b := range column {
			expected[i] += f.theta[k] * b
		}
	}
	return expected
}

// same tells that two curves are equal to 1e-9.
func same(a, b []float64) bool {
	for i := range a {
		if math.Abs(a[i]-b[i]) > 1e-9*b[i] {
			return false
		}
	}
	return true
}

// coefficients states the terms with their uncertainties.
func (f *fit) coefficients(terms []int) (all [termCount]Coefficient) {
	rows, ok := responses(f.columns, terms, f.weights)
	covariance := f.spread.covariance([termCount]float64(f.theta))
	for row, term := range terms {
		all[term] = Coefficient{math.Sqrt(f.theta[term]), math.Inf(1), 0, math.Inf(1)}
		if !ok {
			continue
		}
		freedom := math.Inf(1)
		if term < driftTerm {
			freedom = 2 / quadratic(rows[row], f.spread.alone(term))
		}
		all[term] = rooted(f.theta[term], math.Sqrt(quadratic(rows[row], covariance)), freedom)
	}
	return all
}

// rooted makes a coefficient of its square, of the square's standard uncertainty, and of the degrees of freedom it would have were nothing else there.
// Both sides of the interval combine what the coefficient's own chance does (χ²) with what the other terms do (normal), in quadrature (Zou and Donner
// 2008): at one end this is the χ² interval of a variance, at the other the normal one of a difference.
func rooted(theta, u, freedom float64) Coefficient {
	const normal = 1.959964 // quantile for Coverage
	const fewestFreedom = 4 // a fit that weighs the terms for other noise gives a small coefficient less; one so great would be weighed otherwise
	own := 2 * theta * theta / freedom
	others := normal * math.Sqrt(max(0, u*u-own))
	low, high := chiSquareLimits(max(fewestFreedom, freedom), Coverage)
	c := Coefficient{Value: math.Sqrt(theta), Upper: math.Sqrt(theta + math.Hypot(theta*(high-1), others))}
	c.Lower = math.Sqrt(max(0, theta-math.Hypot(theta*(1-low), others)))
	if c.StandardUncertainty = u / (2 * c.Value); u > 2*theta {
		c.StandardUncertainty = math.Sqrt(u) / 2 // the root of what is hardly more than nothing has no tangent to go by
	}
	return c
}
