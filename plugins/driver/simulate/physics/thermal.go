package physics

import (
	"math"
	"math/rand/v2"
)

// Lag follows its input with a time constant: after a step it has covered 1 − exp(−t/τ) of it.
type Lag struct {
	share   float64 // of the way that is covered in a step
	value   float64
	started bool
}

// NewLag gives a lag in steps of so many seconds; one of 0 s follows at once. It starts at its first input.
func NewLag(lagSeconds, stepSeconds float64) Lag {
	if lagSeconds <= 0 {
		return Lag{share: 1}
	}
	return Lag{share: -math.Expm1(-stepSeconds / lagSeconds)}
}

// StartAt sets the lag to a value instead of its first input.
func (l *Lag) StartAt(value float64) { l.value, l.started = value, true }

// Next takes the input that has held for a step, and gives the lagged value.
func (l *Lag) Next(input float64) float64 {
	if l.share == 1 || !l.started {
		l.StartAt(input)
		return input
	}
	l.value += float64(l.share * (input - l.value))
	return l.value
}

// Body is the thermal node of a sensor. It rises above the ambient by a figure times the square of the current, and lags behind both.
type Body struct {
	LagSeconds            float64 // 0 = none
	KelvinPerSquareAmpere float64 // steady rise at one ampere
}

// Thermometer is how the temperature of a body is measured.
type Thermometer struct {
	LagSeconds    float64 // behind the body; 0 = none
	NoiseKelvin   float64 // standard deviation of a scan
	QuantumKelvin float64 // step of the figures; 0 = none
	OffsetKelvin  float64 // reads too high by it
}

// warmth is a body and its thermometer in one run.
type warmth struct {
	body        Lag
	heating     float64
	thermometer *Thermometer
	seen        Lag
	chance      *rand.Rand // nil = no noise
}

func newWarmth(b Body, t Thermometer, stepSeconds float64, chance *rand.Rand) warmth {
	w := warmth{body: NewLag(b.LagSeconds, stepSeconds), heating: b.KelvinPerSquareAmpere, seen: NewLag(t.LagSeconds, stepSeconds)}
	if t != (Thermometer{}) {
		w.thermometer = &t
	}
	if t.NoiseKelvin > 0 {
		w.chance = chance
	}
	return w
}

// next gives the temperature of the body and what the thermometer says, in °C.
func (w *warmth) next(ambient, amperes float64) (body, measured float64) {
	if !w.body.started {
		w.body.StartAt(ambient) // no current has flowed yet
	}
	if w.heating > 0 {
		ambient += float64(w.heating * (amperes * amperes))
	}
	body = w.body.Next(ambient)
	if w.thermometer == nil {
		return body, body
	}
	measured = w.seen.Next(body) + w.thermometer.OffsetKelvin
	if w.chance != nil {
		measured += float64(w.thermometer.NoiseKelvin * w.chance.NormFloat64())
	}
	if q := w.thermometer.QuantumKelvin; q > 0 {
		measured = math.RoundToEven(measured/q) * q
	}
	return body, measured
}
