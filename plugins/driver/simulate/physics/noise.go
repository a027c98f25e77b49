package physics

import (
	"math"
	"math/rand/v2"
)

// The streams of chance of one seed: a number never changes and is never given to another purpose.
const (
	shuntNoiseStream = 1 + iota
	magneticNoiseStream
	shuntWalkStream
	magneticWalkStream
	shuntThermometerStream
	magneticThermometerStream
	supplyDriftStream
	supplyRippleStream
	supplyNoiseStream
	faultStream = 1000 // and on from there, one for each fault
)

func stream(seed, number uint64) *rand.Rand { return rand.New(rand.NewPCG(seed, number)) }

// Walk is a random walk from 0, whose variance after t seconds is density²·t/3600.
type Walk struct {
	chance *rand.Rand
	step   float64
	value  float64
}

// NewWalk gives a walk in steps of so many seconds; the density is in units per root hour.
func NewWalk(densityPerRootHour, stepSeconds float64, chance *rand.Rand) *Walk {
	return &Walk{chance: chance, step: densityPerRootHour * math.Sqrt(stepSeconds/3600)}
}

// Value gives where the walk is.
func (w *Walk) Value() float64 { return w.value }

// Next takes a step and gives where that leads.
func (w *Walk) Next() float64 {
	w.value += float64(w.step * w.chance.NormFloat64())
	return w.value
}

// Wander is a random process about 0 that forgets: of a standard deviation, with a correlation of exp(−t/correlation) over t
// (Ornstein–Uhlenbeck). It is in its steady state from the beginning.
type Wander struct {
	chance     *rand.Rand
	keep, step float64
	value      float64
}

// NewWander gives a process in steps of so many seconds, above zero as is the correlation.
func NewWander(deviation, correlationSeconds, stepSeconds float64, chance *rand.Rand) *Wander {
	w := &Wander{chance: chance, keep: math.Exp(-stepSeconds / correlationSeconds)}
	w.step = deviation * math.Sqrt(-math.Expm1(-2*stepSeconds/correlationSeconds))
	w.value = deviation * chance.NormFloat64()
	return w
}

// Value gives where the process is.
func (w *Wander) Value() float64 { return w.value }

// Next takes a step and gives where that leads.
func (w *Wander) Next() float64 {
	w.value = float64(w.keep*w.value) + float64(w.step*w.chance.NormFloat64())
	return w.value
}
