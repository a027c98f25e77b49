package stability

import (
	"math"
	"slices"
)

const (
	widestRatio = 32 // factors further apart have next to no correlation
	lagSteps    = 8  // the sum over lags goes in steps of about so small a part of the smaller factor
	mostLengths = 64 // more segments than this are represented by as many
)

// spread holds the covariances of a grid's overlapping Allan variances at several factors, for any mixture of noises: of Gaussian second
// differences, cov(d1², d2²) = 2c² + 4·E(d1)·E(d2)·c, and c is a sum over the noises.
type spread struct {
	points  []Point
	squares [][][noiseCount][noiseCount]float64 // sums over lags of the products of two noises' covariances
	linear  [][][noiseCount]float64             // sums over lags of the covariances themselves
}

func newSpread(g *Grid, points []Point) *spread {
	s := &spread{points: points}
	runs := runsOf(g)
	for i, p := range points {
		s.squares = append(s.squares, make([][noiseCount][noiseCount]float64, len(points)))
		s.linear = append(s.linear, make([][noiseCount]float64, len(points)))
		for j := i; j < len(points) && points[j].Factor <= p.Factor*widestRatio; j++ {
			s.sum(i, j, runs, g.IntervalSeconds)
		}
	}
	return s
}

// sum goes over all lags at which a term of the one variance and a term of the other have to do with one another.
func (s *spread) sum(i, j int, runs []run, interval float64) {
	m1, m2 := s.points[i].Factor, s.points[j].Factor
	step := lagStep(m1, m2)
	reach := 3 * (m1 + m2) / step * step
	cross := newCrossKernel(m1, m2, step, reach+2*m1, interval)
	terms := float64(s.points[i].Terms) * float64(s.points[j].Terms)
	for lag := -reach; lag <= reach; lag += step {
		weight := meetings(lag, m1, m2, runs) * float64(step) / terms
		if weight == 0 {
			continue
		}
		c := cross.at(lag)
		for a, ca := range c {
			s.linear[i][j][a] += weight * ca
			for b, cb := range c {
				s.squares[i][j][a][b] += weight * ca * cb
			}
		}
	}
}

// lagStep is a power of two that divides both factors.
func lagStep(m1, m2 int) int {
	step := 1
	for m1%(2*step) == 0 && m2%(2*step) == 0 && min(m1, m2)/(2*step) >= lagSteps {
		step *= 2
	}
	return step
}

// covariance gives the matrix for squared coefficients.
func (s *spread) covariance(theta [termCount]float64) [][]float64 {
	m := square(len(s.points))
	for i, p := range s.points {
		for j, q := range s.points[i:] {
			j += i
			v := 0.0
			for a, row := range s.squares[i][j] {
				for b, product := range row {
					v += 2 * theta[a] * theta[b] * product
				}
				v += 2 * theta[driftTerm] * p.TauSeconds * q.TauSeconds * theta[a] * s.linear[i][j][a]
			}
			m[i][j], m[j][i] = v, v
		}
	}
	return m
}

// alone gives the matrix for a coefficient of 1 and nothing else.
func (s *spread) alone(term int) [][]float64 {
	var theta [termCount]float64
	theta[term] = 1
	return s.covariance(theta)
}

// run is a length of segment, in readings, and how many segments have it.
type run struct{ length, count float64 }

// meetings counts the pairs of terms that stand lag intervals apart, in all segments.
func meetings(lag, m1, m2 int, runs []run) (count float64) {
	for _, r := range runs {
		n1, n2 := r.length+1-2*float64(m1), r.length+1-2*float64(m2)
		count += r.count * max(0, min(n1, n2-float64(lag))-max(0, -float64(lag)))
	}
	return count
}

// runsOf lists the lengths of the segments; of very many, the means of as many groups of like length as may be.
func runsOf(g *Grid) []run {
	lengths := make([]float64, len(g.Segments))
	for i, s := range g.Segments {
		lengths[i] = float64(len(s.Amperes))
	}
	slices.Sort(lengths)
	size := (len(lengths) + mostLengths - 1) / mostLengths
	var runs []run
	for group := range slices.Chunk(lengths, max(1, size)) {
		runs = append(runs, run{math.Round(mean(group)), float64(len(group))})
	}
	return runs
}

func square(n int) [][]float64 {
	rows := make([][]float64, n)
	for i := range rows {
		rows[i] = make([]float64, n)
	}
	return rows
}
