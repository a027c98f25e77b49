package pipeline

import (
	"fmt"
	"testing"

	"github.com/google/go-cmp/cmp"

	"github.com/ampledger/ampledger/daemon/charge"
)

// entries gives the postings as lines.
func (j *journal) entries() (lines []string) {
	for _, p := range j.postings {
		lines = append(lines, fmt.Sprintf("%s %d-%d %.1f s %.1f C, %d gaps of %.1f s ± %.0f C, %d detailed", p.Kind, p.Counted.FirstSequence, p.Counted.LastSequence,
			float64(p.Counted.DurationNanos)*1e-9, float64(p.Counted.Net())*1e-6, p.Counted.GapCount, float64(p.Counted.GapNanos)*1e-9,
			float64(p.Counted.GapBoundMicrocoulombs)*1e-6, len(p.Gaps)))
	}
	return lines
}

// TestTheTimeAwayIsAnEntryOfItsOwn resumes an account that ended ten seconds before the first reading: 100 A are the bound of a gap. A sink that
// has no room at first gets it later, before anything else.
func TestTheTimeAwayIsAnEntryOfItsOwn(t *testing.T) {
	for name, full := range map[string]bool{"at once": false, "when there is room": true} {
		t.Run(name, func(t *testing.T) {
			j := &journal{full: full}
			c := unboundConductor(t, j, ConductorConfig{})
			defer c.Close()
			c.Resume("meter", Ledger{After: &charge.After{Sequence: 4, Wall: -9.5e9}})
			bindDevice(t, c)
			c.Apply(t.Context(), "dev", frame(5, 3, 15, 0))
			c.Apply(t.Context(), "dev", frame(20, 3, 10, 0)) // due
			j.full = false
			c.Apply(t.Context(), "dev", frame(40, 3, 10, 0)) // and a gap of a second
			c.End(t.Context(), "dev")
			want := []string{"gap 4-4 10.0 s 0.0 C, 1 gaps of 10.0 s ± 1000 C, 1 detailed"}
			if full {
				want = append(want, "interval 5-49 4.4 s 13.2 C, 1 gaps of 1.1 s ± 110 C, 1 detailed")
			} else {
				want = append(want, "interval 5-19 1.4 s 4.2 C, 0 gaps of 0.0 s ± 0 C, 0 detailed", "interval 19-29 1.0 s 3.0 C, 0 gaps of 0.0 s ± 0 C, 0 detailed", "interval 29-49 2.0 s 6.0 C, 1 gaps of 1.1 s ± 110 C, 1 detailed")
			}
			if diff := cmp.Diff(want, j.entries()); diff != "" {
				t.Errorf("postings (-want +got):\n%s", diff)
			}
		})
	}
}

// TestChargeIsPostedByItsAmount posts each 25 C of 10 A out or in, at the end of the second in which they are complete, long before the time is over.
func TestChargeIsPostedByItsAmount(t *testing.T) {
	j := &journal{}
	c := newConductor(t, j, ConductorConfig{PostMicrocoulombs: 25e6})
	defer c.Close()
	c.config.PostNanos = 1e15
	for i := range 8 {
		current := 10.0
		if i%2 == 1 {
			current = -10
		}
		c.Apply(t.Context(), "dev", frame(uint64(10*i), current, 10, 0))
	}
	var ends []uint64
	for _, p := range j.postings {
		ends = append(ends, p.Counted.LastSequence)
	}
	if diff := cmp.Diff([]uint64{29, 59}, ends); diff != "" {
		t.Errorf("postings end (-want +got):\n%s", diff)
	}
}
