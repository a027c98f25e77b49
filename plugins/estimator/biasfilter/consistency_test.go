package biasfilter

import (
	"math"
	"math/rand/v2"
	"strconv"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// chiSquare gives the two-sided 95 % band of a sum of squared unit normals.
func chiSquare(t *testing.T, degrees int) (least, most float64) {
	t.Helper()
	for _, row := range table(t, "chi2_quantiles.csv") {
		if row["dof"] == strconv.Itoa(degrees) {
			return figure(t, row, "p0.025"), figure(t, row, "p0.975")
		}
	}
	t.Fatal("no quantiles for ", degrees)
	return 0, 0
}

func within(t *testing.T, what string, sum float64, degrees int) {
	t.Helper()
	if least, most := chiSquare(t, degrees); sum < least || sum > most {
		t.Errorf("%s: %.1f with %d degrees of freedom, want %.1f to %.1f", what, sum, degrees, least, most)
	}
}

// The normalised estimation error squared of b, k, g and B after half a day, over 50 runs (Bar-Shalom, Li and Kirubarajan 2001, section 5.4).
func TestErrorsAreWhatTheyAreSaidToBe(t *testing.T) {
	const runs = 50
	sum := 0.0
	of := sensor
	of.hysteresis = 0
	stated := of.settings()
	stated["channels"].(with)["main"].(with)["reference_celsius"] = 25
	for seed := range uint64(runs) {
		e := started(t, stated, mainChannel())
		s := newSimulation(1000+seed, of, nil)
		for s.time < day/2 {
			if err := e.update(s.next()); err != nil {
				t.Fatal(err)
			}
		}
		l, f := e.channels[0].at, e.filter
		at, truth := []int{l.zero, l.drift, l.gain, l.charge}, []float64{s.b, s.k, s.g, s.excess}
		p, d := mat.NewSymDense(len(at), nil), mat.NewVecDense(len(at), nil)
		for i := range at {
			d.SetVec(i, f.x[at[i]]-truth[i])
			for j := range at {
				p.SetSym(i, j, f.p[at[i]*f.n+at[j]])
			}
		}
		var factor mat.Cholesky
		if !factor.Factorize(p) {
			t.Fatal("the covariance is not positive definite")
		}
		var solved mat.VecDense
		if err := factor.SolveVecTo(&solved, d); err != nil {
			t.Fatal(err)
		}
		sum += mat.Dot(d, &solved)
	}
	within(t, "NEES", sum, 4*runs)
}

// Innovations are white and as large as their variance says, with B riding along.
func TestInnovationsAreWhite(t *testing.T) {
	const steps, q, r = 1000, 0.04, 1.0
	random := rand.New(rand.NewPCG(5, 6))
	f := newFilter(2)
	f.draw(0, 0, 1)
	truth := random.NormFloat64()
	form, sum, lagged, last := []term{{0, 1}}, 0.0, 0.0, 0.0
	for range steps {
		f.couple(1, form)
		f.walk(0, q, 1, term{1, 1})
		truth += math.Sqrt(q) * random.NormFloat64()
		v, s := f.update(form, truth+math.Sqrt(r)*random.NormFloat64(), r)
		v /= math.Sqrt(s)
		sum += v * v
		lagged += v * last
		last = v
	}
	within(t, "NIS", sum, steps)
	if rho := lagged / sum; math.Abs(rho) > 3/math.Sqrt(steps) {
		t.Errorf("innovations hang together: ρ₁ = %.3f", rho)
	}
}

// However long it runs the covariance stays symmetric to the bit, and no variance falls below 0.
func TestCovarianceStaysSymmetric(t *testing.T) {
	s := couple(t)
	course(s, 0, 5000)
	f := s.filter
	for i := range f.n {
		if f.p[i*f.n+i] < 0 {
			t.Errorf("variance %d: %v", i, f.p[i*f.n+i])
		}
		for j := range i {
			if f.p[i*f.n+j] != f.p[j*f.n+i] {
				t.Errorf("covariance %d, %d: %v and %v", i, j, f.p[i*f.n+j], f.p[j*f.n+i])
			}
		}
	}
}

// What is known exactly stays so, whatever is measured of it.
func TestMeasurementOfWhatIsKnown(t *testing.T) {
	f := newFilter(1)
	f.draw(0, 3, 0)
	if v, s := f.update([]term{{0, 1}}, 5, 0); v != 2 || s != 0 || f.x[0] != 3 || f.p[0] != 0 {
		t.Errorf("innovation %v, variance %v, state %v ± %v", v, s, f.x[0], f.p[0])
	}
}
