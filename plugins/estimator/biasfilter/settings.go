package biasfilter

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// settings are what stands under `with:`. Figures are standard uncertainties unless they say otherwise.
type settings struct {
	// ResidualAmperes is the current that may flow in a rest, about zero; default 0.
	ResidualAmperes float64 `json:"residual_amperes"`
	// Gate is the normalised innovation squared above which a measurement is not believed; default 25, five standard deviations.
	Gate float64 `json:"gate"`
	// DifferenceSeconds is the least time over which two channels are compared; default 60.
	DifferenceSeconds float64 `json:"difference_seconds"`
	// DifferenceFloorAmperes is how far two perfect channels may be apart in such a comparison, for their different timing and
	// linearity; default from the channels, see figures.
	DifferenceFloorAmperes *float64 `json:"difference_floor_amperes"`
	// ReopenRestCount and ReopenSeconds are how many summaries of one rest must have been rejected, and for how long, before the prior
	// is asked again; default 10 and 60.
	ReopenRestCount float64 `json:"reopen_rest_count"`
	ReopenSeconds   float64 `json:"reopen_seconds"`
	// Quiescence makes a rest of a steady, small current that nobody said to be one; default false.
	Quiescence bool `json:"quiescence"`
	// QuiescenceAmperes is the current that may flow in such a rest; default the smallest zero error of the channels.
	QuiescenceAmperes *float64 `json:"quiescence_amperes"`
	// Channels holds data-sheet figures of single channels.
	Channels map[string]*declaration `json:"channels"`
}

// declaration is what is stated of one channel; what is not stated comes from what the daemon knows of the channel, see figures.
type declaration struct {
	// ZeroErrorAmperes is how far off the zero may be beforehand.
	ZeroErrorAmperes *float64 `json:"zero_error_amperes"`
	// ZeroWalkAmperesPerRootHour is how fast it wanders off: after t hours by this times √t.
	ZeroWalkAmperesPerRootHour *float64 `json:"zero_walk_amperes_per_root_hour"`
	// ZeroDriftAmperesPerKelvin is how much it may change with the temperature of the sensor.
	ZeroDriftAmperesPerKelvin *float64 `json:"zero_drift_amperes_per_kelvin"`
	// ReferenceCelsius is the temperature at which ZeroErrorAmperes holds; default the first that is measured.
	ReferenceCelsius *float64 `json:"reference_celsius"`
	// HysteresisAmperes is the error left after a full-scale excursion; default 0.
	HysteresisAmperes *float64 `json:"hysteresis_amperes"`
	// HysteresisOperators is how many play operators stand for it; default 6. With fewer more of it stays unexplained.
	HysteresisOperators *float64 `json:"hysteresis_operators"`
	// GainErrorRatio is how far off the gain may be.
	GainErrorRatio *float64 `json:"gain_error_ratio"`
	// NoiseAmperes is the part of one reading's error that is independent from reading to reading.
	NoiseAmperes *float64 `json:"noise_amperes"`
	// FloorAmperes is the error of a rest's mean that no averaging removes.
	FloorAmperes *float64 `json:"floor_amperes"`
}

func defaults() settings {
	return settings{Gate: 25, DifferenceSeconds: 60, ReopenRestCount: 10, ReopenSeconds: 60}
}

func (s *settings) validate(channels []*plugin.Channel) error {
	faults := []error{
		notNegative("residual_amperes", &s.ResidualAmperes), positive("gate", &s.Gate), positive("difference_seconds", &s.DifferenceSeconds),
		positive("difference_floor_amperes", s.DifferenceFloorAmperes), positive("reopen_rest_count", &s.ReopenRestCount),
		positive("reopen_seconds", &s.ReopenSeconds), positive("quiescence_amperes", s.QuiescenceAmperes),
	}
	known := map[string]bool{}
	for _, c := range channels {
		known[c.GetName()] = true
		faults = append(faults, s.Channels[c.GetName()].validate("channels."+c.GetName(), c))
	}
	for _, name := range slices.Sorted(maps.Keys(s.Channels)) {
		if !known[name] {
			faults = append(faults, fmt.Errorf("setting channels: the conductor has no channel %q", name))
		}
	}
	return errors.Join(faults...)
}

const (
	defaultOperators = 6
	mostOperators    = 12
	lowest           = -273.15 // °C
)

// validate checks what is stated of a channel, and that what is not stated is known.
func (d *declaration) validate(path string, c *plugin.Channel) error {
	if d == nil {
		d = &declaration{}
	}
	faults := []error{
		positive(path+".zero_error_amperes", d.ZeroErrorAmperes), notNegative(path+".zero_walk_amperes_per_root_hour", d.ZeroWalkAmperesPerRootHour),
		notNegative(path+".zero_drift_amperes_per_kelvin", d.ZeroDriftAmperesPerKelvin), notNegative(path+".hysteresis_amperes", d.HysteresisAmperes),
		notNegative(path+".gain_error_ratio", d.GainErrorRatio), notNegative(path+".noise_amperes", d.NoiseAmperes),
		positive(path+".floor_amperes", d.FloorAmperes),
	}
	if d.ZeroErrorAmperes == nil && !(c.GetZeroUncertaintyAmperes() > 0) {
		faults = append(faults, fmt.Errorf("setting %s.zero_error_amperes: nothing is known of the channel's zero: state how far off it may be", path))
	}
	if n := d.HysteresisOperators; n != nil && !(*n >= 1 && *n <= mostOperators && *n == math.Trunc(*n)) {
		faults = append(faults, fmt.Errorf("setting %s.hysteresis_operators: %g must be a whole number from 1 to %d", path, *n, mostOperators))
	}
	if value(d.HysteresisAmperes, 0) > 0 && !(c.GetFullScaleAmperes() > 0) {
		faults = append(faults, fmt.Errorf("setting %s.hysteresis_amperes: it is the error left after a full-scale excursion, and the channel's full scale "+
			"is not known: state it with the sensor", path))
	}
	if t := d.ReferenceCelsius; t != nil && !(*t >= lowest && finite(*t)) {
		faults = append(faults, fmt.Errorf("setting %s.reference_celsius: %g must be a temperature above %g", path, *t, lowest))
	}
	return errors.Join(faults...)
}

func value(stated *float64, otherwise float64) float64 {
	if stated == nil {
		return otherwise
	}
	return *stated
}

func notNegative(name string, v *float64) error {
	if v != nil && !(*v >= 0 && finite(*v)) {
		return fmt.Errorf("setting %s: %g must be 0 or more, and finite", name, *v)
	}
	return nil
}

func positive(name string, v *float64) error {
	if v != nil && !(*v > 0 && finite(*v)) {
		return fmt.Errorf("setting %s: %g must be above 0, and finite; leave it out for the default", name, *v)
	}
	return nil
}
