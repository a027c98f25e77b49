package budget

import "math"

// Effect is something that makes a reading uncertain, whatever the current is.
type Effect struct {
	Source           string
	Value            float64
	Unit             string
	Distribution     Distribution
	DegreesOfFreedom float64
	Constant         float64 // amperes for one of Unit, at no current
	PerAmpere        float64 // and in addition for each ampere
	Independent      bool    // drawn anew for every reading; else the same for all of them
	Hidden           bool    // a rest does not show its constant part: hysteresis, which is another after another load
}

// At is its line in the budget of a reading at a current.
func (e Effect) At(amperes float64) Contribution {
	return e.line(e.Constant + e.PerAmpere*amperes)
}

// Charge is its line in the budget of a charge: so many coulombs net, counted over so long, from readings an interval apart. A net charge has the
// sign of the current.
func (e Effect) Charge(seconds, netCoulombs, intervalSeconds float64) Contribution {
	if e.Independent {
		return e.line(e.Constant * math.Sqrt(seconds*intervalSeconds))
	}
	return e.line(e.Constant*seconds + e.PerAmpere*netCoulombs)
}

func (e Effect) line(sensitivity float64) Contribution {
	return Contribution{e.Source, e.Value, e.Unit, e.Distribution, e.Distribution.Divisor(), sensitivity, e.DegreesOfFreedom}
}
