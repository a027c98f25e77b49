package stability

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"
)

const (
	mostTemperatureBlocks = 256
	temperatureRounds     = 4
)

// Temperature is how the zero follows the temperature.
type Temperature struct {
	SlopeAmperesPerKelvin float64
	StandardUncertainty   float64 // A/K
	LowestCelsius         float64 // of the averages that went in
	HighestCelsius        float64
	Noise                 *Model // what is left of the log once the temperature's part is taken off
}

// FitTemperature gives the straight line of the current over the temperature.
//
// An ordinary fit would take readings that hang together for many independent witnesses, and a random walk for a temperature effect. So the segments are
// averaged into at most some 256 blocks, and the differences of neighbouring blocks are fitted by generalised least squares with the covariance that the
// noise model gives them: under white noise this is the ordinary fit, under a random walk that of the increments. The noise is that of the residuals, so
// the two are fitted in turn.
func FitTemperature(g *Grid) (*Temperature, error) {
	b := newBlocks(g)
	t := &Temperature{LowestCelsius: math.Inf(1), HighestCelsius: math.Inf(-1), Noise: &Model{WhiteDensity: Coefficient{Value: 1}}}
	for _, s := range b.Segments {
		for _, v := range s.Celsius {
			t.LowestCelsius, t.HighestCelsius = min(t.LowestCelsius, v), max(t.HighestCelsius, v)
		}
	}
	if longest(b) < FewestReadings {
		return nil, errors.New("no stretch without a gap is long enough to tell how the zero follows the temperature")
	}
	if t.HighestCelsius == t.LowestCelsius {
		return nil, errors.New("the temperature never changes")
	}
	for range temperatureRounds {
		if !t.fit(b) {
			return nil, errors.New("the noise is too little to weigh the temperature by")
		}
		rest := without(b, t.SlopeAmperesPerKelvin)
		noise, err := FitNoise(rest, Overlapping(rest, Octaves(rest)))
		if err != nil {
			return nil, err
		}
		t.Noise = noise
	}
	return t, nil
}

// newBlocks averages a grid's segments into blocks of equal length.
func newBlocks(g *Grid) *Grid {
	total := 0
	for _, s := range g.Segments {
		total += len(s.Celsius)
	}
	size := max(1, (total+mostTemperatureBlocks-1)/mostTemperatureBlocks)
	b := &Grid{IntervalSeconds: g.IntervalSeconds * float64(size)}
	for _, s := range g.Segments {
		if len(s.Celsius) >= 2*size {
			b.Segments = append(b.Segments, Segment{blockMeans(s.Amperes, size), blockMeans(s.Celsius, size)})
		}
	}
	return b
}

func blockMeans(values []float64, size int) []float64 {
	means := make([]float64, len(values)/size)
	for i := range means {
		means[i] = mean(values[i*size : (i+1)*size])
	}
	return means
}

// without takes the temperature's part off the currents.
func without(b *Grid, slope float64) *Grid {
	rest := &Grid{IntervalSeconds: b.IntervalSeconds}
	for _, s := range b.Segments {
		amperes := make([]float64, len(s.Amperes))
		for i, a := range s.Amperes {
			amperes[i] = a - slope*s.Celsius[i]
		}
		rest.Segments = append(rest.Segments, Segment{Amperes: amperes})
	}
	return rest
}

// fit renews the slope under the noise found last. A drift, if there is one, is fitted along.
func (t *Temperature) fit(b *Grid) bool {
	columns := 1
	if t.Noise.Drift.Value > 0 {
		columns = 2
	}
	normal, right := mat.NewSymDense(columns, nil), mat.NewVecDense(columns, nil)
	for _, s := range b.Segments {
		if !t.addNormal(normal, right, s, b.IntervalSeconds) {
			return false
		}
	}
	var inverse mat.Cholesky
	var solution mat.VecDense
	if !inverse.Factorize(normal) || inverse.SolveVecTo(&solution, right) != nil {
		return false
	}
	var covariance mat.SymDense
	if inverse.InverseTo(&covariance) != nil {
		return false
	}
	t.SlopeAmperesPerKelvin, t.StandardUncertainty = solution.AtVec(0), math.Sqrt(covariance.At(0, 0))
	return true
}

// addNormal adds a segment's part to the normal equations.
func (t *Temperature) addNormal(normal *mat.SymDense, right *mat.VecDense, s Segment, interval float64) bool {
	n, columns := len(s.Amperes)-1, right.Len()
	design, current := mat.NewDense(n, columns, nil), mat.NewVecDense(n, nil)
	for i := range n {
		design.Set(i, 0, s.Celsius[i+1]-s.Celsius[i])
		if columns > 1 {
			design.Set(i, 1, interval)
		}
		current.SetVec(i, s.Amperes[i+1]-s.Amperes[i])
	}
	var factor mat.Cholesky
	if !factor.Factorize(differenceCovariance(n, interval, t.Noise)) {
		return false
	}
	var weighted, product mat.Dense
	var side mat.VecDense
	if factor.SolveTo(&weighted, design) != nil {
		return false
	}
	product.Mul(design.T(), &weighted)
	side.MulVec(weighted.T(), current)
	for i := range columns {
		for j := i; j < columns; j++ {
			normal.SetSym(i, j, normal.At(i, j)+product.At(i, j))
		}
		right.SetVec(i, right.AtVec(i)+side.AtVec(i))
	}
	return true
}

// differenceCovariance is that of n differences of neighbouring block means. Such a difference is a second difference of the charge.
func differenceCovariance(n int, interval float64, m *Model) *mat.SymDense {
	cross := newCrossKernel(1, 1, 1, n, interval)
	matrix := mat.NewSymDense(n, nil)
	for lag := range n {
		each := cross.at(lag)
		c := 0.0
		for k, density := range [noiseCount]float64{m.WhiteDensity.Value, m.FlickerFloor.Value, m.WalkDensity.Value} {
			c += 2 * density * density * each[k]
		}
		for i := range n - lag {
			matrix.SetSym(i, i+lag, c)
		}
	}
	return matrix
}
