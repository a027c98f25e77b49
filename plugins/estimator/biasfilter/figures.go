package biasfilter

import (
	"math"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// figures are what the filter takes a channel to be: the settings, and where they are silent what the daemon knows of the channel.
type figures struct {
	zero      float64   // standard deviation of b beforehand, amperes; default the channel's zero uncertainty
	density   float64   // q of b's walk, A²/s; default: a tenth of the zero error in an hour
	drift     float64   // of k, A/K; default a fiftieth of the zero error
	plays     []float64 // half-widths r, amperes
	play      float64   // of each h, amperes
	gain      float64   // of g; default the channel's gain uncertainty
	noise     float64   // of one reading, amperes; default the channel's noise
	floor     float64   // of ε, amperes; default floorRatio of the noise, or a hundredth of the zero error where no noise is known
	misfit    float64   // of ε, because m operators are not the whole hysteresis, amperes: misfitRatio of it, over m
	quiet     float64   // of ε for readings that scatter less than half the noise, so that rounding is not averaged away, amperes
	reference *float64  // °C
}

// The half-widths are hysteresisRatio apart. The largest is half the full scale: a wider operator is not turned over by a full-scale
// excursion and back, so it would leave nothing behind. The smallest is no less than hysteresisNoises times the noise of a reading, which
// it would follow instead of the current: at ten times, the largest of many readings move it by a third.
const (
	hysteresisRatio  = 4
	hysteresisNoises = 10
)

// misfitRatio is such that the 95 % interval holds in about 95 % of some hundred days of stationary duty, whose hysteresis is made of three play
// operators of any half-widths from 1 % to 40 % of the full scale (daemon/score, TestStationaryDuty): the operators here do not show all of it,
// and what they leave is about the same from one rest through the load after it.
const misfitRatio = 0.6

// Averaging is trusted for ten thousand readings: nobody can know that the noise of so many has no colour. Common practice, no source.
const floorRatio = 0.01

func newFigures(c *plugin.Channel, d *declaration) figures {
	if d == nil {
		d = &declaration{}
	}
	zero := value(d.ZeroErrorAmperes, c.GetZeroUncertaintyAmperes())
	walk := value(d.ZeroWalkAmperesPerRootHour, zero/10) / 60
	f := figures{
		zero: zero, density: walk * walk, drift: value(d.ZeroDriftAmperesPerKelvin, zero/50),
		gain: value(d.GainErrorRatio, c.GetGainUncertaintyRatio()), noise: value(d.NoiseAmperes, c.GetNoiseAmperes()), reference: d.ReferenceCelsius,
	}
	f.floor = floorRatio * f.noise
	f.quiet = f.noise
	if f.noise == 0 {
		f.floor = zero / 100
	}
	if d.FloorAmperes != nil {
		f.floor, f.quiet = *d.FloorAmperes, 0
	}
	if hysteresis := value(d.HysteresisAmperes, 0); hysteresis > 0 {
		f.plays = halfWidths(c.GetFullScaleAmperes()/2, hysteresisNoises*f.noise, int(value(d.HysteresisOperators, defaultOperators)))
		f.play = hysteresis / math.Sqrt(float64(len(f.plays)))
		f.misfit = misfitRatio * hysteresis / float64(len(f.plays))
	}
	return f
}

// halfWidths gives m of them, the smallest first.
func halfWidths(widest, least float64, m int) []float64 {
	ratio := float64(hysteresisRatio)
	if m > 1 && least > 0 {
		ratio = max(1.25, min(ratio, math.Pow(widest/least, 1/float64(m-1))))
	}
	widths := make([]float64, m)
	for i := m - 1; i >= 0; i-- {
		widths[i] = widest
		widest /= ratio
	}
	return widths
}

// misfitSeconds is how long the part of the hysteresis that no operator shows is taken to stay as it is: a stationary duty changes about that
// often, and windows of one current err alike however many they are.
const misfitSeconds = 3600

// differenceFloor is how far the means of two channels over a window are taken to be apart beside what the filter knows of: their floors,
// a tenth of their noise, so that averaging is trusted for no more than a hundred readings, and what no operator shows of their hysteresis, as
// much as makes the mean of an hour's windows no surer than one of them.
func differenceFloor(a, b *figures, seconds float64, stated *float64) float64 {
	return value(stated, math.Sqrt(a.apart(seconds)+b.apart(seconds)))
}

func (f *figures) apart(seconds float64) float64 {
	alike := max(1, misfitSeconds/seconds)
	return alike*f.misfit*f.misfit + f.floor*f.floor + f.noise*f.noise/100
}
