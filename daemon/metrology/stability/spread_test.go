package stability

import (
	"math"
	"math/rand/v2"
	"testing"
)

// The covariance of the variances must be what simulated logs show: white noise and a walk together, at factors near and far.
func TestCovarianceIsThatOfSimulatedLogs(t *testing.T) {
	const runs, n = 3000, 256
	factors := []int{1, 2, 8, 32}
	r := rand.New(rand.NewPCG(1, 1))
	sums, products := make([]float64, len(factors)), square(len(factors))
	var points []Point
	for range runs {
		values, walk := make([]float64, n), 0.0
		for i := range values {
			// The model is of readings that are means over their interval: the mean of a walk over a step from a to b is (a+b)/2 and a bit of
			// variance 1/12 of the step's.
			step := 0.1 * r.NormFloat64()
			values[i] = walk + step/2 + 0.1/math.Sqrt(12)*r.NormFloat64() + r.NormFloat64()
			walk += step
		}
		points = Overlapping(Evenly(1, values), factors)
		for i, p := range points {
			v := p.DeviationAmperes * p.DeviationAmperes
			sums[i] += v
			for j := range i + 1 {
				products[i][j] += v * points[j].DeviationAmperes * points[j].DeviationAmperes
			}
		}
	}
	want := newSpread(Evenly(1, make([]float64, n)), points).covariance([termCount]float64{whiteTerm: 1, walkTerm: 0.01})
	for i := range factors {
		for j := range i + 1 {
			got := (products[i][j] - sums[i]*sums[j]/runs) / (runs - 1)
			if scale := math.Sqrt(want[i][i] * want[j][j]); math.Abs(got-want[i][j]) > 0.12*scale {
				t.Errorf("factors %d and %d: covariance %.4g, want %.4g (± %.2g)", factors[i], factors[j], got, want[i][j], 0.12*scale)
			}
		}
	}
}

// SP 1065's table approximates the degrees of freedom that the exact sums give.
func TestSpreadAgreesWithTableOfFreedoms(t *testing.T) {
	var points []Point
	g := Evenly(1, make([]float64, 1000))
	for _, m := range Octaves(g) {
		points = append(points, Point{Factor: m, TauSeconds: float64(m), Terms: 1001 - 2*m})
	}
	s := newSpread(g, points)
	for term, tolerance := range map[int]float64{whiteTerm: 0.04, flickerTerm: 0.10, walkTerm: 0.13} {
		exact := s.alone(term)
		for i, p := range points {
			v := basis(p.TauSeconds)[term]
			if got, want := 2*v*v/exact[i][i], EDF(Noise(-term), 1001, p.Factor); math.Abs(got/want-1) > tolerance {
				t.Errorf("term %d, m=%d: %.5g degrees of freedom, the table has %.5g", term, p.Factor, got, want)
			}
		}
	}
}

func TestManySegmentsAreRepresented(t *testing.T) {
	g := &Grid{}
	for i := range 1000 {
		g.Segments = append(g.Segments, Segment{Amperes: make([]float64, 10+i)})
	}
	runs := runsOf(g)
	count, length := 0.0, 0.0
	for _, r := range runs {
		count, length = count+r.count, length+r.count*r.length
	}
	if len(runs) > mostLengths || count != 1000 || math.Abs(length/(509.5*1000)-1) > 1e-3 {
		t.Errorf("%d groups of %g segments with %g readings", len(runs), count, length)
	}
}
