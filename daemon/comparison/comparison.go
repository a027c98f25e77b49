// Package comparison holds what one estimator said against what another said to the same summaries. It is pure: records in, figures out,
// in one pass and in the order of the records; nothing in it may be called wrongly, and everything concurrently.
//
// Charge is compared by its growth: records state what net charge would have been more, counted from a moment of the estimator's own, so
// only differences between two records of one estimator in one run of the daemon mean anything. Where an estimator was started again or
// another took over between two records, what was counted between them belongs to neither and is left out.
package comparison

import ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"

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

// Holding is a comparison under way, of one estimator with the one in force.
type Holding struct {
	channels channels
	outputs  outputs
}

// Add takes in what it said to a summary, and what the one in force said; nil = that said nothing. Records come in the order of time.
func (h *Holding) Add(own, inForce *Record) {
	h.channels.add(own, inForce)
	h.outputs.add(own, inForce)
}

// Comparisons gives the channels and the derived quantities, the newest figures of each and how they differ from those in force over the
// summaries that both answered. It ends the comparison.
func (h *Holding) Comparisons() ([]*ampledgerv1.ChannelComparison, []*ampledgerv1.DerivedComparison) {
	return h.channels.comparisons(), h.outputs.comparisons()
}

// Hold compares what one said with what the one in force said. Held against itself, an estimator differs by nothing.
func Hold(own, inForce []*Record) ([]*ampledgerv1.ChannelComparison, []*ampledgerv1.DerivedComparison) {
	other := make(map[summary]*Record, len(inForce))
	for _, r := range inForce {
		other[of(r)] = r
	}
	var h Holding
	for _, r := range own {
		h.Add(r, other[of(r)])
	}
	return h.Comparisons()
}

// Many compares many estimators at once, from records that come by wall-clock time, without holding more of them than those of one moment.
type Many struct {
	of     map[string]*Holding // by shadow; empty = the one in force, against itself
	moment []*Record
}

// Add takes in the next record.
func (m *Many) Add(r *Record) {
	if len(m.moment) > 0 && m.moment[0].GetWallNanos() != r.GetWallNanos() {
		m.settle()
	}
	m.moment = append(m.moment, r)
}

// settle takes in the records of one moment.
func (m *Many) settle() {
	if m.of == nil {
		m.of = map[string]*Holding{}
	}
	for _, r := range m.moment {
		var beside *Record
		for _, other := range m.moment {
			if other.GetShadow() == "" && of(other) == of(r) {
				beside = other
			}
		}
		h := m.of[r.GetShadow()]
		if h == nil {
			h = &Holding{}
			m.of[r.GetShadow()] = h
		}
		h.Add(r, beside)
	}
	m.moment = m.moment[:0]
}

// Of ends the comparison of one estimator.
func (m *Many) Of(shadow string) ([]*ampledgerv1.ChannelComparison, []*ampledgerv1.DerivedComparison) {
	m.settle()
	if h := m.of[shadow]; h != nil {
		return h.Comparisons()
	}
	return nil, nil
}
