package polynomial_test

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/ampledger/ampledger/daemon/metrology/polynomial"
)

func TestRefusals(t *testing.T) {
	line := polynomial.Shape{Degree: 1}
	for want, c := range map[string]struct {
		values polynomial.Values
		shape  polynomial.Shape
	}{
		"1 point(s) leave no residuals":                            {polynomial.Values{X: []float64{1}, Y: []float64{1}}, line},
		"at 1 different place(s) cannot tell 2":                    {polynomial.Values{X: []float64{5, 5, 5}, Y: []float64{1, 2, 3}}, line},
		"at 0 different place(s) cannot tell 1":                    {polynomial.Values{X: []float64{0, 0}, Y: []float64{1, 2}}, polynomial.Shape{Degree: 1, ThroughOrigin: true}},
		"point 2 is not finite":                                    {polynomial.Values{X: []float64{1, 2, 3}, Y: []float64{1, math.NaN(), 2}}, line},
		"the uncertainty of point 3 is 0":                          {polynomial.Values{X: []float64{1, 2, 3}, Y: []float64{1, 2, 3}, Uncertainty: []float64{1, 1, 0}}, line},
		"differ in number":                                         {polynomial.Values{X: []float64{1, 2}, Y: []float64{1}}, line},
		"degree 4":                                                 {polynomial.Values{X: []float64{1, 2}, Y: []float64{1, 2}}, polynomial.Shape{Degree: 4}},
		"their places cannot be told apart":                        {polynomial.Values{X: []float64{1, 1 + 1e-15, 3e5, 6e5}, Y: []float64{1, 2, 3, 4}, Uncertainty: []float64{1, 1, 1, 1}}, polynomial.Shape{Degree: 3}},
		"3 point(s) leave no residuals to tell the uncertainty of": {polynomial.Values{X: []float64{1, 2, 3}, Y: []float64{1, 2, 3}}, polynomial.Shape{Degree: 2}},
	} {
		if _, err := polynomial.New(c.values, c.shape); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("want %q, got %v", want, err)
		}
	}
}

// Two points with stated uncertainties make a line, of which the residuals tell nothing.
func TestTwoPointsWithUncertainties(t *testing.T) {
	f := fitOf(t, polynomial.Values{X: []float64{0, 100}, Y: []float64{0.5, 101.5}, Uncertainty: []float64{0.03, 0.04}}, polynomial.Shape{Degree: 1})
	near(t, "offset", f.Coefficients[0], 0.5, 1e-12)
	near(t, "gain", f.Coefficients[1], 1.01, 1e-12)
	near(t, "u of gain", math.Sqrt(f.Covariance[1][1]), 0.0005, 1e-12)
	_, u := f.At(200)
	near(t, "u at 200", u, math.Hypot(0.03, 2*0.04), 1e-12) // 2·y₁₀₀ − y₀
	if f.Consistency() != 1 || f.Outliers(1) != nil || f.LackOfFit(0).Told || !math.IsNaN(f.ResidualDeviation()) {
		t.Error("two points told something of a line through them")
	}
}

// The probability of consistent points is uniform: of 2000 sets about 5 % lie below 0.05. Uncertainties stated three times too small are found out.
func TestConsistency(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	low, found := 0, 0
	for range 2000 {
		v := polynomial.Values{}
		for i := range 8 {
			v.X = append(v.X, float64(i))
			v.Uncertainty = append(v.Uncertainty, 0.1+0.05*float64(i))
			v.Y = append(v.Y, 1+2*float64(i)+v.Uncertainty[i]*r.NormFloat64())
		}
		if fitOf(t, v, polynomial.Shape{Degree: 1}).Consistency() < 0.05 {
			low++
		}
		for i := range v.Uncertainty {
			v.Uncertainty[i] /= 3
		}
		if fitOf(t, v, polynomial.Shape{Degree: 1}).Consistency() < 0.05 {
			found++
		}
	}
	if low < 70 || low > 130 || found < 1900 {
		t.Errorf("%d of 2000 consistent sets below 5 %%, %d of those with understated uncertainties", low, found)
	}
}

// Places a little apart are one, the residuals being compared; the first of a place is what the rest is held against, so that a chain of points is no place.
func TestPlaces(t *testing.T) {
	f := fitOf(t, polynomial.Values{X: []float64{10.02, 0, 20, 10, 10.04, 10.06, 0.01}, Y: []float64{1, 2, 3, 4, 5, 6, 7}}, polynomial.Shape{Degree: 1})
	got := f.Places(0.05)
	want := [][]int{{1, 6}, {0, 3, 4}, {5}, {2}}
	for i := range want {
		if len(got) != len(want) || len(got[i]) != len(want[i]) || got[i][0] != want[i][0] {
			t.Fatalf("places %v, want %v", got, want)
		}
	}
}

func TestOutliers(t *testing.T) {
	v := polynomial.Values{}
	for i := range 10 {
		v.X = append(v.X, float64(i))
		v.Y = append(v.Y, 3*float64(i))
	}
	shape := polynomial.Shape{Degree: 1}
	if found := fitOf(t, v, shape).Outliers(0.01); found != nil {
		t.Errorf("on points of one line: %v", found)
	}
	v.Y[6] += 0.001
	if found := fitOf(t, v, shape).Outliers(0.01); len(found) != 1 || found[0].Point != 6 || !(found[0].Distance > 1e5) || found[0].Probability > 1e-30 {
		t.Errorf("one off a line that is exact: %v", found)
	}
	r := rand.New(rand.NewPCG(1, 2))
	wrong := 0
	for range 1000 {
		for i := range v.Y {
			v.Y[i] = r.NormFloat64()
		}
		if fitOf(t, v, shape).Outliers(0.05) != nil {
			wrong++
		}
	}
	if wrong < 25 || wrong > 75 { // Bonferroni's bound is nearly reached for the farthest of ten
		t.Errorf("%d of 1000 sets without an outlier have one at 5 %%", wrong)
	}
}
