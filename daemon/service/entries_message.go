package service

import (
	"encoding/hex"

	"github.com/ampledger/ampledger/daemon/store"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// kindFrom are the kinds of entries as the API names them; kindTo the other way round.
var (
	kindFrom = map[ampledgerv1.EntryKind]store.Kind{
		ampledgerv1.EntryKind_ENTRY_KIND_OPENING:       store.Opening,
		ampledgerv1.EntryKind_ENTRY_KIND_INTERVAL:      store.Interval,
		ampledgerv1.EntryKind_ENTRY_KIND_ADJUSTMENT:    store.Adjustment,
		ampledgerv1.EntryKind_ENTRY_KIND_GAP:           store.Uncounted,
		ampledgerv1.EntryKind_ENTRY_KIND_MARK:          store.Marked,
		ampledgerv1.EntryKind_ENTRY_KIND_CONFIGURATION: store.Configured,
		ampledgerv1.EntryKind_ENTRY_KIND_COMMISSIONING: store.Commissioned,
	}
	kindTo = func() map[store.Kind]ampledgerv1.EntryKind {
		to := map[store.Kind]ampledgerv1.EntryKind{}
		for kind, stored := range kindFrom {
			to[stored] = kind
		}
		return to
	}()
)

// entryOf writes an entry down as the API gives it.
func entryOf(e *store.Entry, gaps []store.Gap) *ampledgerv1.Entry {
	entry := &ampledgerv1.Entry{
		EntrySequence: e.Sequence, Conductor: e.Conductor, Channel: e.Channel, Kind: kindTo[e.Kind], Device: e.Device,
		EpochCount: e.Epoch, FirstSequence: e.FirstSequence, LastSequence: e.LastSequence,
		FromWallNanos: e.FromWallNanos, ToWallNanos: e.ToWallNanos, FromMonotonicNanos: e.FromMonotonicNanos, ToMonotonicNanos: e.ToMonotonicNanos,
		DurationNanos: e.DurationNanos, OutMicrocoulombs: e.OutMicrocoulombs, InMicrocoulombs: e.InMicrocoulombs, NetMicrocoulombs: e.NetMicrocoulombs(),
		OffsetMicrocoulombs: e.OffsetMicrocoulombs, AdjustmentMicrocoulombs: e.AdjustmentMicrocoulombs, SquareAmpereSeconds: e.SquareAmpereSeconds,
		ReadingCount: e.ReadingCount, Unusable: unusableOf(&e.Totals), Gaps: gapTotalsOf(&e.Totals), LongestGaps: gapsOf(gaps),
		NoiseSquareCoulombs: e.NoiseSquareCoulombs, ZeroCoulombs: e.ZeroCoulombs, GainRatio: e.GainRatio,
		Estimator: e.Estimator, Generation: e.Generation, Reason: e.Reason,
	}
	switch e.Kind {
	case store.Marked:
		entry.Stored = &ampledgerv1.StoredCharge{
			StoredCoulombs: e.Mark.StoredCoulombs, StandardUncertaintyCoulombs: e.Mark.StandardUncertaintyCoulombs, By: e.Mark.By, Note: e.Mark.Note,
		}
	case store.Configured:
		entry.ConfigurationSha256, _ = hex.DecodeString(e.ConfigurationSHA256) // 64 digits, or it would not have been stored
	}
	return entry
}
