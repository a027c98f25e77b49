package physics

import (
	"errors"
	"math"
	"sort"
)

// Hold is a constant current in amperes.
type Hold float64

// At implements Shape.
func (h Hold) At(int64, *int) float64 { return float64(h) }

// Ramp is a straight line over its length.
type Ramp struct {
	FromAmperes, ToAmperes float64
	LengthNanos            int64
}

// At implements Shape.
func (r Ramp) At(nanos int64, _ *int) float64 {
	return between(r.FromAmperes, r.ToAmperes, nanos, r.LengthNanos)
}

// between goes from one value to the other as nanos goes from 0 to length.
func between(from, to float64, nanos, length int64) float64 {
	return from + float64((to-from)*(float64(nanos)/float64(length)))
}

// Sine swings about a mean, upwards first.
type Sine struct {
	MeanAmperes, AmplitudeAmperes float64
	PeriodNanos                   int64
}

// At implements Shape.
func (s Sine) At(nanos int64, _ *int) float64 {
	return s.MeanAmperes + float64(s.AmplitudeAmperes*wave(nanos, s.PeriodNanos))
}

// Ambient is the temperature around all sensors, a sine about a mean.
type Ambient struct {
	MeanCelsius, SwingKelvin float64
	PeriodNanos              int64
}

func (a Ambient) at(nanos int64) float64 {
	if a.SwingKelvin == 0 {
		return a.MeanCelsius
	}
	return a.MeanCelsius + float64(a.SwingKelvin*wave(nanos, a.PeriodNanos))
}

// wave is a sine of unit amplitude. The phase is taken in whole nanoseconds, so it is as sharp after a year as at the start.
func wave(nanos, period int64) float64 {
	return math.Sin(2 * math.Pi * (float64(nanos%period) / float64(period)))
}

// Recorded is a current in points with straight lines between. It needs two at different times.
type Recorded struct {
	nanos   []int64 // never falling
	amperes []float64
}

// Faults of a point.
var (
	ErrNotFinite = errors.New("the current is not finite")
	ErrBackwards = errors.New("the time runs backwards, a recorded segment needs it in order")
)

// Add appends a point; the first one's time must be 0. Of points with the same time the last one counts.
func (r *Recorded) Add(nanos int64, amperes float64) error {
	switch {
	case amperes-amperes != 0:
		return ErrNotFinite
	case nanos < r.LengthNanos():
		return ErrBackwards
	}
	r.nanos, r.amperes = append(r.nanos, nanos), append(r.amperes, amperes)
	return nil
}

// Points gives the number of points.
func (r *Recorded) Points() int { return len(r.nanos) }

// LengthNanos is the time of the last point.
func (r *Recorded) LengthNanos() int64 {
	if len(r.nanos) == 0 {
		return 0
	}
	return r.nanos[len(r.nanos)-1]
}

// At implements Shape.
func (r *Recorded) At(nanos int64, hint *int) float64 {
	next := *hint
	if next < 1 || next >= len(r.nanos) || nanos < r.nanos[next-1] || nanos >= r.nanos[next] {
		next = sort.Search(len(r.nanos), func(i int) bool { return r.nanos[i] > nanos })
		*hint = next
	}
	if next == len(r.nanos) {
		return r.amperes[next-1]
	}
	start := r.nanos[next-1]
	return between(r.amperes[next-1], r.amperes[next], nanos-start, r.nanos[next]-start)
}
