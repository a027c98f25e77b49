package fusion

import (
	"math"

	"github.com/ampledger/ampledger/daemon/scan"
)

// grown gives what the summary states once a reading is in it: also what the channels used both in it and in the last one state, since it
// is by them that the step was measured.
func (s *Stage) grown(made *knot) statement {
	all := s.stated.largest(s.table.stated(made.channels))
	both := made.channels & s.last.channels
	if both == 0 {
		return all
	}
	all = all.largest(s.table.stated(both))
	all.zero = max(all.zero, s.step(made, both, &s.table.of(both).weights))
	return all
}

// step gives by how much the weights of a reading move it against the last one, beyond what the channels used in both have seen: at the
// last reading those that left, at this one those that came.
func (s *Stage) step(made *knot, both set, weights *vector) float64 {
	return math.Abs(mix(weights, &s.last.read, both)-s.last.fused) + math.Abs(made.fused-mix(weights, &made.read, both))
}

// state fills what all readings of an output share; later is the time from the parts' first scan to its own. Before anything was usable
// that is what would hold if all were.
func (s *Stage) state(parts []*scan.Readings, later int64, to *scan.Readings) {
	channels, stated := s.stating, s.stated
	if channels == 0 {
		channels = s.table.everything()
		stated = s.table.stated(channels)
	}
	to.NoiseAmperes, to.ZeroAmperes, to.GainRatio = stated.noise, stated.zero, stated.gain
	weights := &s.table.of(channels).weights
	var rounding vector
	to.Estimate = scan.Estimate{Age: later}
	for i, part := range parts[:s.channels] {
		if weights[i] != 0 {
			rounding[i] = part.RoundingAmperes
			blend(&to.Estimate, &part.Estimate, weights[i], later)
		}
	}
	to.RoundingAmperes = rootSquares(weights, &rounding)
}

// blend takes a channel's estimate, which is so much older by now, into that of all.
func blend(all, one *scan.Estimate, weight float64, later int64) {
	all.Offset += float64(weight * one.Offset)
	all.Stale = all.Stale || one.Stale
	if one.Age < 0 || all.Age < 0 {
		all.Age = -1
	} else {
		all.Age = max(all.Age, one.Age+later)
	}
	if all.Generation == 0 {
		all.Estimator, all.Generation = one.Estimator, one.Generation
	}
}
