package fixedzero

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// The ways the zero is found.
const (
	fromFirstRest = "first-rest"
	fromEachRest  = "each-rest"
	declared      = "declared"
)

// settings are what stands under `with:`.
type settings struct {
	// Zero says when the zero is taken: first-rest (default), each-rest or declared.
	Zero string `json:"zero"`
	// MinimumRestSeconds is how much of a rest must have passed before its mean is believed; default 5.
	MinimumRestSeconds float64 `json:"minimum_rest_seconds"`
	// ResidualAmperes is the standard uncertainty of the current during a rest about zero; default 0.
	ResidualAmperes float64 `json:"residual_amperes"`
	// WalkAmperesPerRootHour is how fast the zero wanders off: after t hours by this times √t. Default 0.
	WalkAmperesPerRootHour float64 `json:"walk_amperes_per_root_hour"`
	// Channels holds what is declared of single channels.
	Channels map[string]*declaration `json:"channels"`
}

// declaration is what is known of one channel.
type declaration struct {
	// OffsetAmperes is its zero.
	OffsetAmperes float64 `json:"offset_amperes"`
	// UncertaintyAmperes is the standard uncertainty of it; default the channel's zero uncertainty.
	UncertaintyAmperes *float64 `json:"uncertainty_amperes"`
	// WalkAmperesPerRootHour takes the place of the setting for all channels.
	WalkAmperesPerRootHour *float64 `json:"walk_amperes_per_root_hour"`
}

func (s *settings) validate(channels []*plugin.Channel) error {
	var faults []error
	switch s.Zero {
	case fromFirstRest, fromEachRest, declared:
	default:
		faults = append(faults, fmt.Errorf("setting zero: %q is none of %s, %s, %s", s.Zero, fromFirstRest, fromEachRest, declared))
	}
	faults = append(faults, notNegative("minimum_rest_seconds", s.MinimumRestSeconds),
		notNegative("residual_amperes", s.ResidualAmperes), notNegative("walk_amperes_per_root_hour", s.WalkAmperesPerRootHour))
	known := map[string]bool{}
	for _, c := range channels {
		known[c.GetName()] = true
	}
	for _, name := range slices.Sorted(maps.Keys(s.Channels)) {
		d := s.Channels[name]
		if !known[name] {
			faults = append(faults, fmt.Errorf("setting channels: the conductor has no channel %q", name))
		}
		if d != nil {
			faults = append(faults, d.validate("channels."+name))
		}
	}
	return errors.Join(faults...)
}

func (d *declaration) validate(path string) error {
	faults := []error{}
	if math.IsInf(d.OffsetAmperes, 0) || math.IsNaN(d.OffsetAmperes) {
		faults = append(faults, fmt.Errorf("setting %s.offset_amperes: must be finite", path))
	}
	if d.UncertaintyAmperes != nil {
		faults = append(faults, notNegative(path+".uncertainty_amperes", *d.UncertaintyAmperes))
	}
	if d.WalkAmperesPerRootHour != nil {
		faults = append(faults, notNegative(path+".walk_amperes_per_root_hour", *d.WalkAmperesPerRootHour))
	}
	return errors.Join(faults...)
}

func notNegative(name string, v float64) error {
	if !(v >= 0) || math.IsInf(v, 1) {
		return fmt.Errorf("setting %s: %g must be 0 or more, and finite", name, v)
	}
	return nil
}
