package stability

import "math"

// Offset is what a log says of the zero.
type Offset struct {
	MeanAmperes     float64 // of the readings
	TimeMeanAmperes float64 // charge over time: each reading counts for the time it stands for
	ChargeCoulombs  float64 // what a ledger that subtracts nothing would have counted: trapezoid, gaps left out
	Seconds         float64 // time integrated over
}

// Integrate makes the offset of a log and the grid that Arrange made of it.
func Integrate(l *Log, g *Grid) Offset {
	o := Offset{MeanAmperes: mean(l.Amperes)}
	for i := 1; i < len(l.Nanos); i++ {
		d := l.Nanos[i] - l.Nanos[i-1]
		if isGap(d, g.interval) {
			continue
		}
		o.ChargeCoulombs += seconds(d) * (l.Amperes[i] + l.Amperes[i-1]) / 2
		o.Seconds += seconds(d)
	}
	o.TimeMeanAmperes = o.ChargeCoulombs / o.Seconds
	return o
}

// StandardUncertainty is that of the mean, taken as the zero at the log's end: the model's Allan deviation at the log's own length, which is the
// uncertainty of a mean under white noise (N/√T) and the distance it has been left behind by under a random walk (K·√(T/3)), with what rounding leaves.
func (o Offset) StandardUncertainty(m *Model, r Resolution) float64 {
	return math.Hypot(m.DeviationAmperes(o.Seconds), r.RoundingAmperes())
}
