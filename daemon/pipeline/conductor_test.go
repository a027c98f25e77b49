package pipeline

import (
	"fmt"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// TestSummariesAreAlignedToSequences feeds odd frames with a loss in between: summaries end where multiples of ten scans do, one that lost
// its end is closed by what comes after it, and only one whose every scan was at rest says so.
func TestSummariesAreAlignedToSequences(t *testing.T) {
	o := fixed(0)
	c := newConductor(t, &journal{}, ConductorConfig{Lockstep: true, Start: starts{"e": always(o)}.start})
	defer c.Close()
	check(t, c.Begin(t.Context(), named("e")))
	c.Apply(t.Context(), "dev", frame(0, 1, 25, 1))
	c.Apply(t.Context(), "dev", frame(25, 2, 2, 1))
	c.Apply(t.Context(), "dev", frame(41, 3, 14, 0)) // 27 to 40 are lost
	c.End(t.Context(), "dev")
	var got []string
	for _, s := range o.summaries {
		m := s.GetChannels()[0]
		got = append(got, fmt.Sprintf("%d-%d n=%d mean=%.3g %v", s.GetFirstSequence(), s.GetLastSequence(), m.GetReadingCount(), m.GetMeanAmperes(), s.GetRest()))
	}
	want := []string{
		"0-9 n=10 mean=1 REST_CERTAIN", "10-19 n=10 mean=1 REST_CERTAIN", "20-26 n=7 mean=1.29 REST_CERTAIN",
		"41-49 n=9 mean=3 REST_NONE", "50-54 n=5 mean=3 REST_NONE",
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("summaries (-want +got):\n%s", diff)
	}
}

// TestLockstepAppliesFromTheNextSummaryOn wants the first summary as it was read and the rest less the offset answered for the one before.
func TestLockstepAppliesFromTheNextSummaryOn(t *testing.T) {
	j := &journal{}
	c := newConductor(t, j, ConductorConfig{Lockstep: true, Start: starts{"e": always(fixed(0.5))}.start})
	defer c.Close()
	check(t, c.Begin(t.Context(), named("e")))
	c.Apply(t.Context(), "dev", frame(5, 4, 20, 0)) // the first summary ends after five scans
	want := append(slices.Repeat([]float64{4}, 5), slices.Repeat([]float64{3.5}, 15)...)
	if diff := cmp.Diff(want, j.amperes); diff != "" {
		t.Errorf("amperes (-want +got):\n%s", diff)
	}
}

// TestPostingsAddUp refuses some postings: what is refused is in the next one, and all of them add up to the account.
func TestPostingsAddUp(t *testing.T) {
	j := &journal{}
	c := newConductor(t, j, ConductorConfig{})
	defer c.Close()
	for i := range 20 {
		j.mu.Lock()
		j.full = i%3 == 1
		j.mu.Unlock()
		c.Apply(t.Context(), "dev", frame(uint64(10*i), float64(i-7)/3, 10, 0))
	}
	j.full = false
	c.End(t.Context(), "dev")
	var net, readings, duration int64
	for i, p := range j.postings {
		net += p.Counted.Net()
		readings += int64(p.Counted.Readings)
		duration += p.Counted.DurationNanos
		if i > 0 && p.Counted.FirstSequence != j.postings[i-1].Counted.LastSequence {
			t.Errorf("posting %d begins at %d, the one before ended with %d", i, p.Counted.FirstSequence, j.postings[i-1].Counted.LastSequence)
		}
	}
	total := c.Accounts()[0].Total
	if net != total.Net() || readings != int64(total.Readings) || duration != total.DurationNanos || readings != 200 {
		t.Errorf("postings add up to %d µC, %d readings, %d ns; the account has %d, %d, %d", net, readings, duration,
			total.Net(), total.Readings, total.DurationNanos)
	}
	if len(j.postings) < 5 || len(j.postings) > 20 {
		t.Errorf("%d postings in 20 s at one a second", len(j.postings))
	}
	if j.ended != 1 {
		t.Errorf("ended %d times", j.ended)
	}
}

func TestBindNamesWhatIsMissing(t *testing.T) {
	c := newConductor(t, &journal{}, ConductorConfig{})
	err := c.Bind(NewInputs("dev", nil), DeviceSettings{SummaryScans: 10, StaleNanos: 1})
	want := `conductor pack, channel meter: device dev has no input "amperes"; it has 
conductor pack, contactor: device dev has no input "open"; it has `
	if err == nil || err.Error() != want {
		t.Errorf("bound with %v, want %s", err, want)
	}
}

// TestSilenceIsTold says that the device is silent: the channel goes stale, is unhealthy, and recovers with the next reading.
func TestSilenceIsTold(t *testing.T) {
	j := &journal{}
	c := newConductor(t, j, ConductorConfig{})
	c.Apply(t.Context(), "dev", frame(0, 1, 10, 0))
	c.Silent("dev", 7e9, 6e9)
	if h := c.Health()[0]; !h.Stale {
		t.Errorf("health after a silence: %+v", h)
	}
	c.Apply(t.Context(), "dev", frame(10, 1, 10, 0))
	if h := c.Health()[0]; h.Stale || h.Newest != 19 || h.Readings != 20 {
		t.Errorf("health after the silence: %+v", h)
	}
	want := []string{"staleness stale RAISED", "staleness stale OPERATED", "staleness stale CLEARED"}
	if diff := cmp.Diff(want, j.told()); diff != "" {
		t.Errorf("events (-want +got):\n%s", diff)
	}
}
