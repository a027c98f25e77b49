package physics

import "math/rand/v2"

// Supply is the supply of a ratiometric sensor, whose output is a share of it.
type Supply struct {
	NominalVolts float64 // above zero; at it the figures of the sensor hold
	OffsetVolts  float64 // by which it is always too high
	DriftVolts   float64 // standard deviation of its slow drift
	DriftSeconds float64 // over which the drift forgets; above zero
	RippleVolts  float64 // standard deviation from scan to scan; the output follows it
	NoiseVolts   float64 // standard deviation of its measurement, of which the output knows nothing
}

// feed is a supply in one run.
type feed struct {
	Supply
	drift         *Wander
	ripple, noise *rand.Rand
}

func newFeed(s *Supply, stepSeconds float64, seed uint64) *feed {
	if s == nil {
		return nil
	}
	return &feed{
		*s, NewWander(s.DriftVolts, s.DriftSeconds, stepSeconds, stream(seed, supplyDriftStream)),
		stream(seed, supplyRippleStream), stream(seed, supplyNoiseStream),
	}
}

// next gives the supply and what its measurement says. Each chance has a stream of its own, so one that is not there need not be drawn.
func (f *feed) next(missing bool) (volts, measured float64) {
	volts = f.NominalVolts + f.OffsetVolts
	if f.DriftVolts > 0 {
		volts += f.drift.Next()
	}
	if f.RippleVolts > 0 {
		volts += float64(f.RippleVolts * f.ripple.NormFloat64())
	}
	if missing {
		volts = 0
	}
	measured = volts
	if f.NoiseVolts > 0 {
		measured += float64(f.NoiseVolts * f.noise.NormFloat64())
	}
	return volts, measured
}
