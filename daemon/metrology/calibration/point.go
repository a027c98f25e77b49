package calibration

import (
	"errors"
	"fmt"
	"math"
)

// Sweep is how a point was come to.
type Sweep int

// The ways to come to a point. Hysteresis shows between the second and the third.
const (
	Unswept    Sweep = iota // not said
	Ascending               // from below: the current was less before
	Descending              // from above
)

// Point is a moment, or a mean over some time, at which the current was known.
type Point struct {
	ReferenceAmperes            float64 // what flowed
	ReferenceUncertaintyAmperes float64 // of it, independent from point to point; greater than 0
	IndicatedAmperes            float64 // what the channel gave, before any calibration
	IndicatedUncertaintyAmperes float64 // of it, such as that of a mean of readings; 0 or more
	Sweep                       Sweep
}

// Common is the uncertainty that all reference currents have together.
type Common struct {
	OffsetAmperes float64 // of their zero, 0 or more
	GainRatio     float64 // relative, 0 or more and less than 1
}

// check tells what is wrong with points, all of it.
func check(points []Point, common Common) error {
	var faults []error
	if len(points) < 2 {
		faults = append(faults, fmt.Errorf("%d point(s): a calibration needs two at least", len(points)))
	}
	for i, p := range points {
		if err := p.check(); err != nil {
			faults = append(faults, fmt.Errorf("point %d: %w", i+1, err))
		}
	}
	if !(common.OffsetAmperes >= 0) || !(common.GainRatio >= 0 && common.GainRatio < 1) || math.IsInf(common.OffsetAmperes, 1) {
		faults = append(faults, errors.New("the common uncertainty of the reference must be finite and not negative, its gain less than 1"))
	}
	return errors.Join(faults...)
}

func (p Point) check() error {
	switch {
	case !isFinite(p.ReferenceAmperes) || !isFinite(p.IndicatedAmperes):
		return errors.New("a current is not finite")
	case !(p.ReferenceUncertaintyAmperes > 0) || !isFinite(p.ReferenceUncertaintyAmperes):
		return errors.New("the reference's uncertainty is missing: state it, greater than 0")
	case !(p.IndicatedUncertaintyAmperes >= 0) || !isFinite(p.IndicatedUncertaintyAmperes):
		return errors.New("the indication's uncertainty must be finite and not negative")
	}
	return nil
}

func isFinite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
