package polynomial_test

import (
	"math"
	"testing"

	"github.com/ampledger/ampledger/daemon/metrology/polynomial"
	"github.com/ampledger/ampledger/daemon/referencetest"
)

var near = referencetest.Near

func fitOf(t *testing.T, v polynomial.Values, s polynomial.Shape) *polynomial.Fit {
	t.Helper()
	f, err := polynomial.New(v, s)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// columns reads two columns of a reference table.
func columns(t *testing.T, name, x, y string) (v polynomial.Values) {
	t.Helper()
	for _, row := range referencetest.Table(t, "reference/"+name+".csv") {
		v.X = append(v.X, referencetest.Number(t, row[x]))
		v.Y = append(v.Y, referencetest.Number(t, row[y]))
	}
	return v
}

// certified reads the certified values of a set.
func certified(t *testing.T, name string) map[string]float64 {
	t.Helper()
	all := map[string]float64{}
	for _, row := range referencetest.Table(t, "reference/"+name+"_certified.csv") {
		if row["certified"] != "" {
			all[row["quantity"]] = referencetest.Number(t, row["certified"])
		}
	}
	return all
}

// NIST StRD, linear least squares: certified to 15 digits, of which a shifted and scaled QR in float64 keeps twelve and more.
func TestCertifiedFits(t *testing.T) {
	for name, shape := range map[string]polynomial.Shape{
		"nist_norris":  {Degree: 1},
		"nist_noint1":  {Degree: 1, ThroughOrigin: true},
		"nist_pontius": {Degree: 2},
	} {
		t.Run(name, func(t *testing.T) {
			f, want := fitOf(t, columns(t, name, "x", "y"), shape), certified(t, name)
			names := []string{"B0", "B1", "B2"}
			for i, c := range f.Coefficients {
				if shape.ThroughOrigin && i == 0 {
					if c != 0 || f.Covariance[0][0] != 0 {
						t.Errorf("a constant %g ± %g through the origin", c, f.Covariance[0][0])
					}
					continue
				}
				near(t, names[i], c, want[names[i]], 1e-12)
				near(t, "sd of "+names[i], math.Sqrt(f.Covariance[i][i]), want["sd("+names[i]+")"], 1e-12)
			}
			near(t, "residual deviation", f.ResidualDeviation(), want["residual standard deviation"], 1e-12)
			near(t, "sum of squares", f.SumOfSquares, want["residual sum of squares"], 1e-12)
			near(t, "degrees of freedom", float64(f.DegreesOfFreedom), want["degrees of freedom (residual)"], 0)
		})
	}
}

// JCGM 100:2008 H.3: the thermometer's calibration line about 20 °C, and the correction it predicts at 30 °C. Without the covariance of the two
// coefficients its uncertainty would come out as 0.0073 °C.
func TestThermometerCalibration(t *testing.T) {
	v := columns(t, "gum_h3", "t_degC", "b_degC")
	for i := range v.X {
		v.X[i] -= 20
	}
	f := fitOf(t, v, polynomial.Shape{Degree: 1})
	b, u := f.At(10)
	computed := map[string]float64{
		"y1 (intercept)": f.Coefficients[0], "s(y1)": math.Sqrt(f.Covariance[0][0]), "y2 (slope)": f.Coefficients[1],
		"s(y2)": math.Sqrt(f.Covariance[1][1]), "r(y1,y2)": f.Correlation(0, 1), "s (residual standard deviation)": f.ResidualDeviation(),
		"sum of squared residuals": f.SumOfSquares, "nu (degrees of freedom)": float64(f.DegreesOfFreedom), "b(30 degC)": b, "u(b(30 degC))": u,
	}
	seen := 0
	for _, row := range referencetest.Table(t, "reference/gum_h3_results.csv") {
		if row["t0_degC"] != "20" {
			continue
		}
		seen++
		near(t, row["quantity"], computed[row["quantity"]], referencetest.Number(t, row["recomputed"]), 1e-11)
	}
	if seen != len(computed) {
		t.Errorf("%d of %d figures compared", seen, len(computed))
	}
	apart := math.Sqrt(f.Covariance[0][0] + 100*f.Covariance[1][1])
	near(t, "without the covariance", apart, 0.00727, 1e-3)
}

// NIST/SEMATECH e-Handbook 4.6.1.5: a straight line through the load cell's calibration has a lack of fit of F = 214.7464 (its arithmetic is single
// precision; exactly it is 214.74692), beyond any chance; the quadratic has none.
func TestLoadCellLackOfFit(t *testing.T) {
	v, want := columns(t, "nist_pontius", "x", "y"), certified(t, "nist_pontius")
	line := fitOf(t, v, polynomial.Shape{Degree: 1})
	near(t, "B0", line.Coefficients[0], want["straight line: B0"], 5e-6)
	near(t, "B1", line.Coefficients[1], want["straight line: B1"], 1e-6)
	l := line.LackOfFit(0)
	near(t, "F of the line", l.Ratio, 214.74692365390877, 1e-9)
	near(t, "F as printed", l.Ratio, want["straight line: lack-of-fit F (18 and 20 degrees of freedom)"], 3e-6)
	if l.CurveFreedom != 18 || l.RepeatFreedom != 20 || !(l.Probability < 1e-15) || !l.Told {
		t.Errorf("line: %+v", l)
	}
	q := fitOf(t, v, polynomial.Shape{Degree: 2}).LackOfFit(0)
	near(t, "F of the quadratic", q.Ratio, 0.8107239003096023, 1e-8)
	if q.CurveFreedom != 17 || q.RepeatFreedom != 20 || !(q.Probability > 0.5) {
		t.Errorf("quadratic: %+v", q)
	}
}
