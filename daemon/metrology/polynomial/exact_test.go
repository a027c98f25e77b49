package polynomial_test

import (
	"math"
	"math/big"
	"testing"

	"pgregory.net/rapid"

	"github.com/ampledger/ampledger/daemon/metrology/polynomial"
)

// exact solves the normal equations in rational arithmetic: the slow, obvious version. It gives coefficients and (XᵀWX)⁻¹.
func exact(v polynomial.Values, s polynomial.Shape) (coefficients []float64, inverse [][]float64) {
	low := 0
	if s.ThroughOrigin {
		low = 1
	}
	k := s.Degree + 1 - low
	rows := make([][]*big.Rat, k)
	for i := range rows {
		rows[i] = make([]*big.Rat, 2*k+1)
		for j := range rows[i] {
			rows[i][j] = new(big.Rat)
		}
		rows[i][k+1+i].SetInt64(1)
	}
	for p, x := range v.X {
		weight := big.NewRat(1, 1)
		if v.Uncertainty != nil {
			u := new(big.Rat).SetFloat64(v.Uncertainty[p])
			weight.Inv(u.Mul(u, u))
		}
		for i := range k {
			for j := range k {
				rows[i][j].Add(rows[i][j], product(weight, power(x, i+j+2*low)))
			}
			rows[i][k].Add(rows[i][k], product(weight, power(x, i+low), new(big.Rat).SetFloat64(v.Y[p])))
		}
	}
	eliminate(rows)
	for i := range k {
		c, _ := rows[i][k].Float64()
		coefficients = append(coefficients, c)
		inverse = append(inverse, make([]float64, k))
		for j := range k {
			inverse[i][j], _ = rows[i][k+1+j].Float64()
		}
	}
	return coefficients, inverse
}

func power(x float64, n int) *big.Rat {
	p, r := big.NewRat(1, 1), new(big.Rat).SetFloat64(x)
	for range n {
		p.Mul(p, r)
	}
	return p
}

func product(factors ...*big.Rat) *big.Rat {
	p := big.NewRat(1, 1)
	for _, f := range factors {
		p.Mul(p, f)
	}
	return p
}

// eliminate brings a positive definite system to the unit matrix.
func eliminate(rows [][]*big.Rat) {
	for i := range rows {
		pivot := new(big.Rat).Inv(rows[i][i])
		for j := range rows[i] {
			rows[i][j].Mul(rows[i][j], pivot)
		}
		for r := range rows {
			if r == i {
				continue
			}
			factor := new(big.Rat).Set(rows[r][i])
			for j := range rows[r] {
				rows[r][j].Sub(rows[r][j], product(factor, rows[i][j]))
			}
		}
	}
}

// drawn draws points on a grid of places up to hundreds of amperes, so that repeats occur, and a shape that they can tell.
func drawn(t *rapid.T) (polynomial.Values, polynomial.Shape) {
	s := polynomial.Shape{Degree: rapid.IntRange(1, 3).Draw(t, "degree"), ThroughOrigin: rapid.Bool().Draw(t, "through origin")}
	var v polynomial.Values
	for i := range 12 {
		v.X = append(v.X, float64(rapid.IntRange(-500, 500).Draw(t, "x")))
		if i < 5 {
			v.X[i] = float64(100*i - 250)
		}
		v.Y = append(v.Y, rapid.Float64Range(-600, 600).Draw(t, "y"))
	}
	if rapid.Bool().Draw(t, "weighted") {
		for range v.X {
			v.Uncertainty = append(v.Uncertainty, rapid.Float64Range(0.05, 1).Draw(t, "u"))
		}
	}
	return v, s
}

func TestFitIsTheExactOne(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v, s := drawn(t)
		f, err := polynomial.New(v, s)
		if err != nil {
			t.Fatal(err)
		}
		coefficients, inverse := exact(v, s)
		variance, low := 1.0, s.Degree+1-len(coefficients)
		if v.Uncertainty == nil {
			variance = f.SumOfSquares / float64(f.DegreesOfFreedom)
		}
		for i := range coefficients {
			u := math.Sqrt(variance * inverse[i][i])
			if d := math.Abs(f.Coefficients[i+low] - coefficients[i]); d > 1e-8*u+1e-11*math.Abs(coefficients[i]) {
				t.Fatalf("coefficient %d is %g, exactly %g ± %g", i+low, f.Coefficients[i+low], coefficients[i], u)
			}
			for j := range coefficients {
				want, scale := variance*inverse[i][j], variance*math.Sqrt(inverse[i][i]*inverse[j][j])
				if got := f.Covariance[i+low][j+low]; math.Abs(got-want) > 1e-8*scale {
					t.Fatalf("covariance %d, %d is %g, exactly %g", i+low, j+low, got, want)
				}
			}
		}
	})
}

// What At and Slope give is the polynomial of the coefficients, with their whole covariance.
func TestPlaceIsThePolynomial(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v, s := drawn(t)
		f, err := polynomial.New(v, s)
		if err != nil {
			t.Fatal(err)
		}
		x := rapid.Float64Range(-500, 500).Draw(t, "at")
		want, variance, slope, size := 0.0, 0.0, 0.0, 0.0
		for i, a := range f.Coefficients {
			want += a * math.Pow(x, float64(i))
			size += math.Abs(a * math.Pow(x, float64(i)))
			if i > 0 {
				slope += float64(i) * a * math.Pow(x, float64(i-1))
			}
			for j := range f.Coefficients {
				variance += f.Covariance[i][j] * math.Pow(x, float64(i+j))
			}
		}
		y, u := f.At(x)
		if math.Abs(y-want) > 1e-9*size+1e-12 || math.Abs(u*u-variance) > 1e-6*u*u+1e-9*f.Covariance[0][0]+1e-20 || math.Abs(f.Slope(x)-slope) > 1e-7*(math.Abs(slope)+1) {
			t.Fatalf("at %g: %g ± %g slope %g, want %g ± %g slope %g", x, y, u, f.Slope(x), want, math.Sqrt(variance), slope)
		}
	})
}

// The studentised distance of a point is that from the curve through all others: leaving it out and asking that curve is the slow way.
func TestOutlierIsFarFromTheOthersCurve(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v, s := drawn(t)
		at := rapid.IntRange(5, 11).Draw(t, "outlier")
		v.Y[at] += rapid.Float64Range(-1e5, 1e5).Draw(t, "by")
		f, err := polynomial.New(v, s)
		if err != nil {
			t.Fatal(err)
		}
		others := without(v, at)
		rest, err := polynomial.New(others, s)
		if err != nil {
			t.Fatal(err)
		}
		y, u := rest.At(v.X[at])
		own := 1.0
		if v.Uncertainty != nil {
			own, u = v.Uncertainty[at], u*rest.ResidualDeviation()
		}
		want := (v.Y[at] - y) / math.Hypot(u, own*rest.ResidualDeviation())
		for _, o := range f.Outliers(1.1) {
			if o.Point == at {
				cancelled := 1e-13 * math.Abs(want*want*want) // the others' squares are what is left of a far greater sum
				if exact := math.Abs(want) > 1e5 && o.Distance/want > 0.1; !exact && !(math.Abs(o.Distance-want) <= 1e-5*(1+math.Abs(want))+cancelled) {
					t.Fatalf("point %d lies %g from the others, %g when it is left out", at, o.Distance, want)
				}
				return
			}
		}
		t.Fatalf("point %d is not among all", at)
	})
}

func without(v polynomial.Values, at int) (others polynomial.Values) {
	for i := range v.X {
		if i == at {
			continue
		}
		others.X, others.Y = append(others.X, v.X[i]), append(others.Y, v.Y[i])
		if v.Uncertainty != nil {
			others.Uncertainty = append(others.Uncertainty, v.Uncertainty[i])
		}
	}
	return others
}
