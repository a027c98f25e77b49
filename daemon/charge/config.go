package charge

import (
	"errors"
	"fmt"
	"math"
)

// Config says how an account counts.
type Config struct {
	// GapNanos: an interval between two usable readings longer than this is a gap. 0 = no limit by time.
	GapNanos int64
	// BoundAmperes is how far the current may have been from the straight line in a gap. Above 0, finite.
	BoundAmperes float64
	// SaturatedBoundAmperes is the same for a gap in which a reading was saturated or out of range, where the current is known to
	// have been large. Finite, not below BoundAmperes.
	SaturatedBoundAmperes float64
	// After is where an account before this one ended, if there was one: the time from there to the first usable reading is a gap, of which
	// nothing is known but its bound; no current is assumed in it.
	After *After
	// ChargeIsPositive: positive amperes flow into the pack. Else they flow out.
	ChargeIsPositive bool
}

// After is the last usable reading of an account before.
type After struct {
	Sequence uint64
	Wall     int64 // wall-clock time, ns since 1970-01-01 UTC
}

// validate lists every fault.
func (c *Config) validate() error {
	var faults []error
	if c.GapNanos < 0 {
		faults = append(faults, fmt.Errorf("gap limit is %d ns, must not be negative", c.GapNanos))
	}
	if !(c.BoundAmperes > 0) || math.IsInf(c.BoundAmperes, 0) {
		faults = append(faults, fmt.Errorf("bound on the current in a gap is %v A, must be above 0 and finite", c.BoundAmperes))
	}
	if !(c.SaturatedBoundAmperes >= c.BoundAmperes) || math.IsInf(c.SaturatedBoundAmperes, 0) {
		faults = append(faults, fmt.Errorf("bound on the current in a saturated gap is %v A, must be finite and not below the bound for other gaps (%v A)",
			c.SaturatedBoundAmperes, c.BoundAmperes))
	}
	return errors.Join(faults...)
}

// bound gives the bound for a gap with these causes.
func (c *Config) bound(causes Cause) float64 {
	if causes.saturated() {
		return c.SaturatedBoundAmperes
	}
	return c.BoundAmperes
}

// sign turns amperes as read into net, which is positive out of the pack.
func (c *Config) sign() float64 {
	if c.ChargeIsPositive {
		return -1
	}
	return 1
}
