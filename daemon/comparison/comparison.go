// Package comparison holds what one estimator said against what another said to the same summaries. It is pure: records in, figures out,
// in one pass and in the order of the records; nothing in it may be called wrongly, and everything concurrently.
//
// Charge is compared by its growth: records state what net charge would have been more, counted from a moment of the estimator's own, so
// only differences between two records of one estimator in one run of the daemon mean anything. Where an estimator was started again or
// another took over between two records, what was counted between them belongs to neither and is left out.
package comparison

import (
	"math"

	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// Record is what one estimator said to one summary.
type Record = ampledgerv1.EstimateRecord

// summary is what two records must share to be compared.
type summary struct {
	opening  uint64
	device   string
	sequence uint64
}

func of(r *Record) summary {
	return summary{r.GetOpeningSequence(), r.GetDevice(), r.GetThroughSequence()}
}

// Hold gives the channels and the derived quantities of own, the newest figures of each and how they differ from those of inForce over the
// summaries that both answered. Records are in the order of time. Held against itself, an estimator differs by nothing.
func Hold(own, inForce []*Record) ([]*ampledgerv1.ChannelComparison, []*ampledgerv1.DerivedComparison) {
	other := make(map[summary]*Record, len(inForce))
	for _, r := range inForce {
		other[of(r)] = r
	}
	var channels channels
	var outputs outputs
	for _, r := range own {
		beside := other[of(r)]
		channels.add(r, beside)
		outputs.add(r, beside)
	}
	return channels.comparisons(), outputs.comparisons()
}

// spread is a running mean with its sum of squares (Welford 1962).
type spread struct{ count, mean, squares float64 }

func (s *spread) add(v float64) {
	s.count++
	step := v - s.mean
	s.mean += step / s.count
	s.squares += step * (v - s.mean)
}

// deviation is the standard deviation; 0 for fewer than two.
func (s *spread) deviation() float64 {
	if s.count < 2 {
		return 0
	}
	return math.Sqrt(s.squares / (s.count - 1))
}
