package coulombsoc

import (
	"errors"
	"fmt"
	"math"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// The ways a mark is read.
const (
	asCoulombs = "coulombs"
	asShare    = "state-of-charge"
)

// settings are what stands under `with:`. Uncertainties are standard ones.
type settings struct {
	// CapacityCoulombs is the charge the pack holds when full; default the conductor's.
	CapacityCoulombs float64 `json:"capacity_coulombs"`
	// CapacityUncertaintyRatio is its relative uncertainty; default 0.05, for a pack that is only known by its rating.
	CapacityUncertaintyRatio float64 `json:"capacity_uncertainty_ratio"`
	// CapacityWalkRatioPerRootYear is how fast it ages in a way nobody foresees: after t years by this times √t. Default 0.02.
	CapacityWalkRatioPerRootYear float64 `json:"capacity_walk_ratio_per_root_year"`
	// CoulombicEfficiency is the charge out by the charge in that brings the pack back to where it was; default 0.995.
	CoulombicEfficiency float64 `json:"coulombic_efficiency"`
	// CoulombicEfficiencyUncertainty is its uncertainty; default 0.0029, anything between 0.99 and 1.
	CoulombicEfficiencyUncertainty float64 `json:"coulombic_efficiency_uncertainty"`
	// CoulombicEfficiencyWalkPerRootYear is to it what the capacity's walk is to the capacity; default 0.001.
	CoulombicEfficiencyWalkPerRootYear float64 `json:"coulombic_efficiency_walk_per_root_year"`
	// InitialStateOfCharge and InitialStateOfChargeUncertainty hold as of the first charge ever seen; both or neither. Without them the state
	// of charge is not known before the first mark.
	InitialStateOfCharge            *float64 `json:"initial_state_of_charge"`
	InitialStateOfChargeUncertainty *float64 `json:"initial_state_of_charge_uncertainty"`
	// Marks says what a mark states: coulombs (default), the charge stored as such; or state-of-charge, a share of the capacity given
	// here or with the conductor, as a voltage shows it. Only the latter teach what the capacity is.
	Marks string `json:"marks"`
	// Gate is the normalised innovation squared above which a mark is not believed; default 25, five standard deviations.
	Gate float64 `json:"gate"`
}

func defaults(conductor plugin.Conductor) settings {
	return settings{
		CapacityCoulombs: conductor.CapacityCoulombs, CapacityUncertaintyRatio: 0.05, CapacityWalkRatioPerRootYear: 0.02,
		CoulombicEfficiency: 0.995, CoulombicEfficiencyUncertainty: 0.0029, CoulombicEfficiencyWalkPerRootYear: 0.001, Marks: asCoulombs, Gate: 25,
	}
}

func (s *settings) validate() error {
	faults := []error{
		within("capacity_uncertainty_ratio", s.CapacityUncertaintyRatio, 0, 0.25),
		within("capacity_walk_ratio_per_root_year", s.CapacityWalkRatioPerRootYear, 0, 1),
		within("coulombic_efficiency", s.CoulombicEfficiency, 0.5, 1),
		within("coulombic_efficiency_uncertainty", s.CoulombicEfficiencyUncertainty, 0, 0.25),
		within("coulombic_efficiency_walk_per_root_year", s.CoulombicEfficiencyWalkPerRootYear, 0, 1),
		s.validateCapacity(), s.validateInitial(),
	}
	if s.Marks != asCoulombs && s.Marks != asShare {
		faults = append(faults, fmt.Errorf("setting marks: %q is none of %s, %s", s.Marks, asCoulombs, asShare))
	}
	if !(s.Gate > 0 && finite(s.Gate)) {
		faults = append(faults, fmt.Errorf("setting gate: %g must be above 0, and finite; leave it out for the default", s.Gate))
	}
	return errors.Join(faults...)
}

func (s *settings) validateCapacity() error {
	switch c := s.CapacityCoulombs; {
	case c == 0:
		return errors.New("setting capacity_coulombs: the capacity is not known: give it here, or as capacity_ampere_hours of the conductor")
	case !(c >= 1 && c <= most/1e3):
		return fmt.Errorf("setting capacity_coulombs: %g must be from 1 to %g; 3600 C are one ampere-hour", c, most/1e3)
	}
	return nil
}

func (s *settings) validateInitial() error {
	initial, u := s.InitialStateOfCharge, s.InitialStateOfChargeUncertainty
	switch {
	case initial == nil && u == nil:
		return nil
	case initial == nil || u == nil:
		return errors.New("settings initial_state_of_charge and initial_state_of_charge_uncertainty: give both, or neither")
	}
	return errors.Join(within("initial_state_of_charge", *initial, 0, 1), within("initial_state_of_charge_uncertainty", *u, 0, 1))
}

func within(name string, v, least, greatest float64) error {
	if !(v >= least && v <= greatest) {
		return fmt.Errorf("setting %s: %g must be from %g to %g", name, v, least, greatest)
	}
	return nil
}

// prior is what is stated of capacity and efficiency beforehand.
type prior struct {
	Mean      vector `json:"mean"`
	Deviation vector `json:"deviation"`
}

func (s *settings) prior() prior {
	return prior{
		vector{capacity: s.CapacityCoulombs, efficiency: s.CoulombicEfficiency},
		vector{capacity: s.CapacityUncertaintyRatio * s.CapacityCoulombs, efficiency: s.CoulombicEfficiencyUncertainty},
	}
}

// put makes a state what is stated of it.
func (p *prior) put(e *estimate, state int) {
	e.forget(state)
	e.Mean[state] = p.Mean[state]
	e.Independent[state][state] = p.Deviation[state] * p.Deviation[state]
}

const yearSeconds = 365.25 * 86400

// walks gives how fast the states wander off, in their unit for each root second.
func (s *settings) walks() vector {
	root := math.Sqrt(yearSeconds)
	return vector{
		capacity: s.CapacityWalkRatioPerRootYear * s.CapacityCoulombs / root, efficiency: s.CoulombicEfficiencyWalkPerRootYear / root,
	}
}
