package store_test

import (
	"errors"
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"github.com/ampledger/ampledger/daemon/store"
	"github.com/ampledger/ampledger/daemon/store/storetest"
)

// bare gives an entry of a kind that counts nothing.
func bare(kind store.Kind) store.Entry {
	e := entry("pack", "shunt", 0)
	e.Kind, e.Totals, e.FirstSequence, e.LastSequence, e.ToWallNanos = kind, store.Totals{}, 0, 0, e.FromWallNanos
	return e
}

// ofEachKind gives a valid posting of each kind.
func ofEachKind() []store.Posting {
	opening, uncounted, marked, configured := bare(store.Opening), bare(store.Uncounted), bare(store.Marked), bare(store.Configured)
	opening.OutMicrocoulombs = 7
	adjustment := entry("pack", "shunt", 1)
	adjustment.Kind, adjustment.AdjustmentMicrocoulombs = store.Adjustment, -100
	uncounted.DurationNanos, uncounted.GapNanos, uncounted.GapCount = 5e9, 5e9, 1
	uncounted.InMicrocoulombs, uncounted.GapAssumedMicrocoulombs, uncounted.GapBoundMicrocoulombs = 40, -40, 1e9
	uncounted.FirstSequence, uncounted.LastSequence = 77777, 99999
	marked.Mark = store.Mark{StoredCoulombs: 0, StandardUncertaintyCoulombs: 3600, By: "who signs", Note: "full, 0.05 C for an hour"}
	configured.ConfigurationSHA256 = strings.Repeat("0a", 32)
	return []store.Posting{
		{Entry: opening}, {Entry: configured}, {Entry: entry("pack", "shunt", 0)}, {Entry: adjustment},
		{Entry: uncounted, Gaps: []store.Gap{gap(5e9, "daemon down")}}, {Entry: marked},
	}
}

// TestKinds stores an entry of each kind: it comes back as it was, and those without charge do not count.
func TestKinds(t *testing.T) {
	s := storetest.OpenMemory(t)
	postings := ofEachKind()
	at := must(s.Append(t.Context(), store.Batch{Postings: postings}))(t)
	want, sum := []store.Entry{}, store.Totals{}
	for i, posting := range postings {
		posting.Entry.Sequence = at.Entries[i]
		want = append(want, posting.Entry)
		sum.Add(posting.Entry.Totals)
	}
	if diff := cmp.Diff(want, must(s.Entries(t.Context(), 0, store.Filter{}, 10))(t)); diff != "" {
		t.Errorf("entries (-want +got):\n%s", diff)
	}
	got := must(s.Balance(t.Context(), "pack", "shunt", nil, nil))(t)
	if got.EntryCount != 4 || got.NewestEntrySequence != 5 || got.FirstSequence != 0 || got.LastSequence != 1199 {
		t.Errorf("%d entries up to %d, readings %d to %d", got.EntryCount, got.NewestEntrySequence, got.FirstSequence, got.LastSequence)
	}
	if diff := cmp.Diff(sum, got.Totals); diff != "" {
		t.Errorf("balance (-want +got):\n%s", diff)
	}
	if next := must(s.NextSequence(t.Context(), "adc0"))(t); next != 1200 {
		t.Errorf("next sequence %d: only intervals and adjustments cover readings", next)
	}
}

// TestKindsRefused tries entries that say what their kind cannot, by the program and by SQL.
func TestKindsRefused(t *testing.T) {
	const opening, configured, interval, adjustment, uncounted, marked = 0, 1, 2, 3, 4, 5
	for name, row := range map[string]struct {
		which int
		spoil func(*store.Entry)
	}{
		"interval with a mark":              {interval, func(e *store.Entry) { e.Mark.By = "x" }},
		"adjustment with a configuration":   {adjustment, func(e *store.Entry) { e.ConfigurationSHA256 = strings.Repeat("0", 64) }},
		"opening with a mark":               {opening, func(e *store.Entry) { e.Mark.StandardUncertaintyCoulombs = 1 }},
		"mark that counts":                  {marked, func(e *store.Entry) { e.OutMicrocoulombs = 1 }},
		"mark without uncertainty":          {marked, func(e *store.Entry) { e.Mark.StandardUncertaintyCoulombs = 0 }},
		"mark of nothing known":             {marked, func(e *store.Entry) { e.Mark.StoredCoulombs = math.NaN() }},
		"mark with endless uncertainty":     {marked, func(e *store.Entry) { e.Mark.StandardUncertaintyCoulombs = math.Inf(1) }},
		"mark signed with broken text":      {marked, func(e *store.Entry) { e.Mark.By = "\xff" }},
		"configuration that counts":         {configured, func(e *store.Entry) { e.ReadingCount = 1 }},
		"configuration without its sum":     {configured, func(e *store.Entry) { e.ConfigurationSHA256 = "" }},
		"configuration with half a sum":     {configured, func(e *store.Entry) { e.ConfigurationSHA256 = e.ConfigurationSHA256[:32] }},
		"configuration with words":          {configured, func(e *store.Entry) { e.ConfigurationSHA256 = strings.Repeat("x", 64) }},
		"gap with readings":                 {uncounted, func(e *store.Entry) { e.ReadingCount = 1 }},
		"gap that adjusts":                  {uncounted, func(e *store.Entry) { e.AdjustmentMicrocoulombs = 1 }},
		"gap that is none":                  {uncounted, func(e *store.Entry) { e.GapCount = 0 }},
		"gap shorter than its time":         {uncounted, func(e *store.Entry) { e.GapNanos-- }},
		"gap with more than what's assumed": {uncounted, func(e *store.Entry) { e.InMicrocoulombs++ }},
		"reason with broken text":           {interval, func(e *store.Entry) { e.Reason = "\xff" }},
	} {
		t.Run(name, func(t *testing.T) {
			s := storetest.OpenMemory(t)
			posting := ofEachKind()[row.which]
			row.spoil(&posting.Entry)
			if _, err := s.Append(t.Context(), store.Batch{Postings: []store.Posting{posting}}); !errors.Is(err, store.ErrInvalid) {
				t.Errorf("got %v, want ErrInvalid", err)
			}
		})
	}
	s := storetest.OpenMemory(t)
	posting := ofEachKind()[uncounted]
	posting.Gaps = nil
	if _, err := s.Append(t.Context(), store.Batch{Postings: []store.Posting{posting}}); !errors.Is(err, store.ErrInvalid) {
		t.Errorf("gap entry without a gap: %v", err)
	}
}

// TestNegativeZero stores what SQLite would not give back: it is a zero before it is chained.
func TestNegativeZero(t *testing.T) {
	s := storetest.OpenMemory(t)
	e := entry("pack", "shunt", 0)
	e.SquareAmpereSeconds, e.ZeroCoulombs = math.Copysign(0, -1), -0.5
	append1(t, s, e)
	if got := must(s.Entries(t.Context(), 0, store.Filter{}, 1))(t)[0]; math.Signbit(got.SquareAmpereSeconds) || got.ZeroCoulombs != -0.5 {
		t.Errorf("got %v and %v", got.SquareAmpereSeconds, got.ZeroCoulombs)
	}
}
