package stability

import (
	"errors"
	"fmt"
	"math"
)

// MostAmperes is the greatest magnitude of a reading; no sensor comes near it, and squares of it can still be summed.
const MostAmperes = 1e9

// Log is what a sensor read, in the order of time.
type Log struct {
	Nanos   []int64   // strictly increasing
	Amperes []float64 // within ±MostAmperes
	Celsius []float64 // finite; empty = no temperature was taken
}

// Check tells why a log is not sound.
func (l *Log) Check() error {
	n := len(l.Nanos)
	switch {
	case n < 2:
		return errors.New("fewer than 2 readings")
	case len(l.Amperes) != n || len(l.Celsius) != 0 && len(l.Celsius) != n:
		return errors.New("the columns differ in length")
	}
	for i, a := range l.Amperes {
		if i > 0 && l.Nanos[i] <= l.Nanos[i-1] {
			return fmt.Errorf("reading %d is not later than the one before it", i)
		}
		if !(math.Abs(a) <= MostAmperes) || len(l.Celsius) > 0 && !finite(l.Celsius[i]) {
			return fmt.Errorf("reading %d is not finite, or beyond ±%g A", i, float64(MostAmperes))
		}
	}
	return nil
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

func seconds(nanos int64) float64 { return float64(nanos) / 1e9 }
