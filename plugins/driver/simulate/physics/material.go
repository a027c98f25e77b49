package physics

import (
	"errors"
	"math"
)

// Material is the model of Jiles and Atherton, with their symbols. With the field H = I/PathMeters,
//
//	He = H + α·M        M = (1−c)·Mirr + c·Man(He)        Man(He) = Ms·(coth(He/a) − a/He)
//	dMirr/dHe = (Man(He) − Mirr)/(k·δ), where δ = ±1 is the direction of H, and 0 where that would be negative
//
// The last condition keeps the differential susceptibility from being negative after a turn. The error of the reading is
// ScaleMeters·(M − Man(He)), the part of the magnetisation that lags behind: the anhysteretic part is the sensor's sensitivity and
// linearity, not an offset. A current beyond ten times FullScaleAmperes magnetises no further.
type Material struct {
	MsAmperesPerMeter float64 // saturation magnetisation
	AAmperesPerMeter  float64 // shape of the anhysteretic curve
	KAmperesPerMeter  float64 // pinning; about the coercive field
	C                 float64 // reversible share, 0 to below 1
	Alpha             float64 // coupling between domains, 0 to below 3·a/Ms: from there on the curve would jump
	PathMeters        float64 // of the field lines: amperes over it are amperes per meter
	ScaleMeters       float64 // amperes of reading for an ampere per meter of magnetisation
	FullScaleAmperes  float64
}

// Default gives a soft material that is well saturated at full scale: Ms 400 kA/m, a a tenth of the field at full scale, α = a/Ms,
// c 0.1. Its k and scale are still 0: see WithCoerciveShare and WithRemanence.
func Default(fullScaleAmperes, pathMeters float64) Material {
	m := Material{MsAmperesPerMeter: 4e5, C: 0.1, PathMeters: pathMeters, FullScaleAmperes: fullScaleAmperes}
	m.AAmperesPerMeter = 0.1 * fullScaleAmperes / pathMeters
	m.Alpha = m.AAmperesPerMeter / m.MsAmperesPerMeter
	return m
}

// Start implements Hysteresis.
func (m Material) Start() Core { return m.demagnetised() }

func (m Material) demagnetised() *domains {
	return &domains{material: m, substep: m.AAmperesPerMeter / 8, perMeter: 1 / m.PathMeters, gain: 1}
}

// Remanence gives the error that is left after an excursion from the demagnetised state to plus full scale and back to zero.
func (m Material) Remanence() (amperes float64) {
	core := m.demagnetised()
	core.Advance(m.FullScaleAmperes)
	return core.Advance(0)
}

// CoerciveShare gives the current at which the magnetisation is zero on its way down from plus full scale, negated, as a share of it.
func (m Material) CoerciveShare() float64 {
	top := m.demagnetised()
	for range 3 {
		top.Advance(-m.FullScaleAmperes)
		top.Advance(m.FullScaleAmperes)
	}
	return bisect(0, 1, func(share float64) bool {
		core := *top
		core.Advance(-share * m.FullScaleAmperes)
		return core.magnetisation() > 0
	})
}

// Faults of a fit.
var (
	ErrCoercivity = errors.New("no pinning gives this coercive share, the material is not saturated by so far at full scale")
	ErrRemanence  = errors.New("the material keeps no remanence that could be scaled")
)

// WithCoerciveShare gives the material with the pinning k that makes its coercive share so.
func (m Material) WithCoerciveShare(share float64) (Material, error) {
	field := share * m.FullScaleAmperes / m.PathMeters
	pinned := func(times float64) Material {
		m.KAmperesPerMeter = times * field
		return m
	}
	if !(field > 0) || pinned(10).CoerciveShare() < share {
		return m, ErrCoercivity
	}
	return pinned(bisect(0.1, 10, func(times float64) bool { return pinned(times).CoerciveShare() < share })), nil
}

// WithRemanence gives the material with the scale that makes its remanence so.
func (m Material) WithRemanence(amperes float64) (Material, error) {
	m.ScaleMeters = 1
	one := m.Remanence()
	if !(math.Abs(one) > 0) {
		return m, ErrRemanence
	}
	m.ScaleMeters = amperes / one
	return m, nil
}

// bisect gives the place where below turns from true to false.
func bisect(low, high float64, below func(float64) bool) float64 {
	for range 40 {
		middle := low + (high-low)/2
		if below(middle) {
			low = middle
		} else {
			high = middle
		}
	}
	return low + (high-low)/2
}
