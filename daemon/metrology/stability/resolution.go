package stability

import (
	"math"
	"slices"
)

// mostDistinct is how many different readings are looked at for the step between them.
const mostDistinct = 4096

// Resolution is the step of a log's figures beside their scatter.
type Resolution struct {
	StepAmperes    float64 // least difference between two different readings; 0 = all are equal
	ScatterAmperes float64 // standard deviation of a reading, from the differences of neighbours
	DistinctCount  int     // different readings, at least 4096 if it is 4096
	// Coarse tells that the scatter does not carry the readings over the steps: less than half a step of it is left when what
	// rounding itself adds is taken off. Then averages do not come closer to the truth without limit, the zero may be off by a part of a step, and the noise is
	// that of the rounding (JCGM 100 F.2.2.1; Widrow and Kollar 2008).
	Coarse bool
}

// Resolve finds the step of a log.
func Resolve(l *Log) Resolution {
	seen := make(map[float64]struct{})
	for _, a := range l.Amperes {
		if seen[a] = struct{}{}; len(seen) == mostDistinct {
			break
		}
	}
	distinct := make([]float64, 0, len(seen))
	for a := range seen {
		distinct = append(distinct, a)
	}
	slices.Sort(distinct)
	r := Resolution{DistinctCount: len(distinct), ScatterAmperes: scatter(l.Amperes)}
	for i := 1; i < len(distinct); i++ {
		if d := distinct[i] - distinct[i-1]; r.StepAmperes == 0 || d < r.StepAmperes {
			r.StepAmperes = d
		}
	}
	r.Coarse = r.ScatterAmperes*r.ScatterAmperes-r.StepAmperes*r.StepAmperes/12 < r.StepAmperes*r.StepAmperes/4
	return r
}

// RoundingAmperes is the standard uncertainty that rounding leaves in a mean: of a coarse log, step/√12, which no averaging takes away.
func (r Resolution) RoundingAmperes() float64 {
	if !r.Coarse {
		return 0
	}
	return r.StepAmperes / math.Sqrt(12)
}

func scatter(values []float64) float64 {
	sum := 0.0
	for i := 1; i < len(values); i++ {
		d := values[i] - values[i-1]
		sum += d * d
	}
	return math.Sqrt(sum / float64(2*(len(values)-1)))
}
