package zero

import (
	"fmt"
	"math"

	"github.com/ampledger/ampledger/daemon/metrology/stability"
)

// FewestReadings is how many readings a rest must have.
const FewestReadings = 20

// Zero is what a rest says of the zero.
type Zero struct {
	MeanAmperes                float64
	StandardUncertaintyAmperes float64 // of the mean: of its readings, and of rounding
	TypeAAmperes               float64 // the part that the readings' scatter shows, autocorrelation taken into account
	RoundingAmperes            float64 // the part that no averaging takes away; 0 where noise carries the readings over the steps
	DegreesOfFreedom           float64 // of TypeAAmperes
	EffectiveCount             float64 // independent readings that would make the mean as sure
	Count                      int     // readings
	DeviationAmperes           float64 // standard deviation of a reading
	Seconds                    float64 // from the first reading to the last
	MeanCelsius                float64 // of the sensor; NaN = not measured
	LowestCelsius              float64
	HighestCelsius             float64
	Verdict                    Verdict
}

// Find makes the zero of a rest. The error says why it has none at all: a log that is not sound, or too short; whether the rest was steady stands in
// the verdict, and is for the caller to heed.
func Find(rest *stability.Log) (*Zero, error) {
	if err := rest.Check(); err != nil {
		return nil, err
	}
	n := len(rest.Amperes)
	if n < FewestReadings {
		return nil, fmt.Errorf("%d readings are too few for a zero: it needs %d", n, FewestReadings)
	}
	z := &Zero{MeanAmperes: mean(rest.Amperes), Count: n, Seconds: seconds(rest, n-1)}
	c := correlate(about(rest.Amperes, z.MeanAmperes))
	z.DeviationAmperes, z.DegreesOfFreedom = math.Sqrt(c.variance), c.freedom(n)
	z.TypeAAmperes, z.EffectiveCount = math.Sqrt(c.meanVariance(n)), float64(n)/c.inflated
	z.RoundingAmperes = stability.Resolve(rest).RoundingAmperes()
	z.StandardUncertaintyAmperes = math.Hypot(z.TypeAAmperes, z.RoundingAmperes)
	z.temperature(rest.Celsius)
	z.Verdict = judge(rest, c)
	return z, nil
}

func (z *Zero) temperature(celsius []float64) {
	z.MeanCelsius, z.LowestCelsius, z.HighestCelsius = math.NaN(), math.NaN(), math.NaN()
	if len(celsius) == 0 {
		return
	}
	z.MeanCelsius, z.LowestCelsius, z.HighestCelsius = mean(celsius), celsius[0], celsius[0]
	for _, c := range celsius {
		z.LowestCelsius, z.HighestCelsius = min(z.LowestCelsius, c), max(z.HighestCelsius, c)
	}
}

func mean(values []float64) float64 {
	sum := 0.0
	for _, v := range values {
		sum += v - values[0] // a great common part costs no digits
	}
	return values[0] + sum/float64(len(values))
}

// about gives the distances from a value.
func about(values []float64, centre float64) []float64 {
	distances := make([]float64, len(values))
	for i, v := range values {
		distances[i] = v - centre
	}
	return distances
}

// seconds from the first reading to another.
func seconds(rest *stability.Log, i int) float64 { return float64(rest.Nanos[i]-rest.Nanos[0]) / 1e9 }
