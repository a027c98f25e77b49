package store

import (
	"encoding/hex"
	"errors"
	"fmt"
	"slices"
)

// Kind says what an entry is.
type Kind string

// The kinds. The balance is the sum of the first four.
const (
	Opening    Kind = "opening"       // counting began here; its charge is what was carried over, most often none
	Interval   Kind = "interval"      // what was counted in a span
	Adjustment Kind = "adjustment"    // what was learned later of charge that earlier entries counted
	Uncounted  Kind = "gap"           // a span in which nothing was counted, as while the daemon was down; its gaps detail it
	Marked     Kind = "mark"          // somebody said what charge the pack held; no charge of its own
	Configured Kind = "configuration" // what follows was counted under this configuration; no charge of its own

	// What follows was counted with a zero or gain found at commissioning, by the record its reason begins with (RecordName); no charge of its own.
	Commissioned Kind = "commissioning"
)

// Kinds gives all kinds.
func Kinds() []Kind {
	return []Kind{Opening, Interval, Adjustment, Uncounted, Marked, Configured, Commissioned}
}

// counting and covering are SQL for the kinds that make up a balance, and for those that say by first and last sequence which readings
// they cover; covers is the latter for Go.
const (
	counting = "kind IN ('opening', 'interval', 'adjustment', 'gap')"
	covering = "kind IN ('interval', 'adjustment')"
)

// chargeless tells that entries of the kind count nothing.
func (k Kind) chargeless() bool { return k == Marked || k == Configured || k == Commissioned }

func (k Kind) covers() bool { return k == Interval || k == Adjustment }

// Mark is what somebody said of the charge that the pack stored at the moment of the entry.
type Mark struct {
	StoredCoulombs              float64 // from an origin that is the same for all marks of the conductor
	StandardUncertaintyCoulombs float64 // above 0
	By                          string  // who said so
	Note                        string  // why, in words
}

// validateKind lists what an entry of its kind must not hold.
func (e *Entry) validateKind() error {
	var faults []error
	refuse := func(fault bool, text string, values ...any) {
		if fault {
			faults = append(faults, fmt.Errorf("%s entry "+text, append([]any{e.Kind}, values...)...))
		}
	}
	refuse(!slices.Contains(Kinds(), e.Kind), "of a kind that is not known")
	refuse(e.Kind != Marked && e.Mark != Mark{}, "says what was stored")
	refuse(e.Kind != Configured && e.ConfigurationSHA256 != "", "names a configuration")
	refuse(e.Kind == Commissioned && !namedRecord.MatchString(e.Reason), "names no record")
	refuse(e.Kind.chargeless() && e.Totals != Totals{}, "counts something")
	refuse(e.Kind == Marked && !(e.Mark.StandardUncertaintyCoulombs > 0), "with uncertainty %v, not above 0", e.Mark.StandardUncertaintyCoulombs)
	if e.Kind == Configured {
		sum, err := hex.DecodeString(e.ConfigurationSHA256)
		refuse(err != nil || len(sum) != 32, "with %q for a SHA-256", e.ConfigurationSHA256)
	}
	if e.Kind == Uncounted {
		refuse(e.ReadingCount > 0 || e.AdjustmentMicrocoulombs != 0, "counts readings or adjusts")
		refuse(e.GapCount == 0 || e.GapNanos != e.DurationNanos, "of %d ns with %d gaps of %d ns", e.DurationNanos, e.GapCount, e.GapNanos)
		refuse(e.NetMicrocoulombs() != e.GapAssumedMicrocoulombs, "of %d µC where %d are assumed", e.NetMicrocoulombs(), e.GapAssumedMicrocoulombs)
	}
	return errors.Join(faults...)
}
