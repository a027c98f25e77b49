package service

import (
	"github.com/ampledger/ampledger/daemon/pipeline"
	"github.com/ampledger/ampledger/daemon/store"
)

// EntryOf gives a posting as the ledger holds it, with its gaps.
func EntryOf(p *pipeline.Posting) (entry store.Entry, gaps []store.Gap) {
	entry = store.Entry{
		Conductor: p.Lane.Conductor, Channel: p.Lane.Name, Kind: store.Kind(p.Kind), Device: p.Lane.Device, Epoch: p.Epoch,
		FirstSequence: p.Counted.FirstSequence, LastSequence: p.Counted.LastSequence,
		FromWallNanos: p.Counted.FromWall, ToWallNanos: p.Counted.ToWall,
		FromMonotonicNanos: p.Counted.FromMonotonic, ToMonotonicNanos: p.Counted.ToMonotonic,
		Totals: EntryTotals(p.Counted), GainRatio: p.Counted.GainRatio,
		Estimator: p.Estimator, Generation: p.Generation, Reason: p.Reason,
	}
	entry.AdjustmentMicrocoulombs = p.AdjustmentMicrocoulombs
	if m := p.Mark; m != nil {
		entry.Mark = store.Mark{StoredCoulombs: m.StoredCoulombs, StandardUncertaintyCoulombs: m.UncertaintyCoulombs, By: m.By, Note: m.Note}
	}
	for _, gap := range p.Gaps {
		gaps = append(gaps, EntryGap(gap))
	}
	return entry, gaps
}
