package physics

import "math/rand/v2"

// Errors are what makes a reading differ from the truth whatever the sensor.
type Errors struct {
	NoiseAmperes           float64 // standard deviation of a scan
	OffsetAmperes          float64
	WalkAmperesPerRootHour float64 // density of the random walk of the offset, from 0 at the start
	GainErrorRatio         float64
	GainDriftPerYear       float64 // by which the gain error grows in 365 days
}

const yearNanos = 365 * 86400e9

// imperfection is Errors in one run.
type imperfection struct {
	Errors
	noise *rand.Rand
	walk  *Walk // nil = none
}

func newImperfection(e Errors, stepSeconds float64, noise, walk *rand.Rand) imperfection {
	i := imperfection{Errors: e, noise: noise}
	if e.WalkAmperesPerRootHour > 0 {
		i.walk = NewWalk(e.WalkAmperesPerRootHour, stepSeconds, walk)
	}
	return i
}

// next gives the reading with its errors, without and with noise. It draws even if there is no noise, so that a setting of zero
// changes nothing else. Products that are added to are converted, here and in the sensors: it keeps processors with a fused
// instruction from rounding once where others round twice.
func (i *imperfection) next(amperes float64, nanos int64) (clean, noisy float64) {
	gainError := i.GainErrorRatio + float64(i.GainDriftPerYear*(float64(nanos)/yearNanos))
	offset := i.OffsetAmperes
	if i.walk != nil {
		offset += i.walk.Value()
		i.walk.Next()
	}
	clean = amperes + float64(gainError*amperes) + offset
	return clean, clean + float64(i.NoiseAmperes*i.noise.NormFloat64())
}
