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
	floor     float64   // of ε, amperes; default a tenth of the noise, or a hundredth of the zero error where no noise is known
	misfit    float64   // of ε, because m operators are not the whole hysteresis, amperes: misfitRatio of it, over m
	quiet     float64   // of ε for readings that scatter less than half the noise, so that rounding is not averaged away, amperes
	reference *float64  // °C
}

// The half-widths are hysteresisRatio apart. The largest is half the full scale: a wider operator is not turned over by a full-scale
// excursion and back, so it would leave nothing behind. The smallest is no less than hysteresisNoises times the noise of a reading, which
// it would follow instead of the current.
const (
	hysteresisRatio  = 4
	hysteresisNoises = 30
	misfitRatio      = 0.5
)

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
	f.floor = f.noise / 10
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

// differenceFloor is how far two perfect channels are taken to be apart: a reading's noise and a quarter of the zero error of each, so
// that comparing them for a day, 1440 times, cannot tell their zeros apart to better than a hundredth part.
func differenceFloor(a, b *figures, stated *float64) float64 {
	return value(stated, math.Sqrt(a.noise*a.noise+b.noise*b.noise+(a.zero*a.zero+b.zero*b.zero)/16))
}
