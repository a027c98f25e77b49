package pipeline

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// TestAWallClockThatIsSetChangesNoCharge sets the labels' clock by an hour forward, by an hour back, and slews it by half a second a summary, while 3 A
// flow: the charge is that of the device's time, each setting is told, the slew is not.
func TestAWallClockThatIsSetChangesNoCharge(t *testing.T) {
	j := &journal{}
	c := newConductor(t, j, ConductorConfig{})
	defer c.Close()
	shift := int64(0)
	for i, step := range []int64{0, 3600e9, 0, -3600e9, 5e8, 5e8, 5e8, 0} {
		shift += step
		f := frame(uint64(10*i), 3, 10, 0)
		f.Wall += shift
		c.Apply(t.Context(), "dev", f)
	}
	c.End(t.Context(), "dev")
	if diff := cmp.Diff([]string{"note clock set RAISED", "note clock set RAISED"}, j.told()); diff != "" {
		t.Errorf("events (-want +got):\n%s", diff)
	} else if !strings.Contains(j.events[0].GetDetail(), "by 1h0m0s") || !strings.Contains(j.events[1].GetDetail(), "by -1h0m0s") {
		t.Errorf("told %q and %q", j.events[0].GetDetail(), j.events[1].GetDetail())
	}
	ledger, _ := j.ledgerOf()
	if ledger.net() != 3*7.9e6 || ledger.HeldNanos != 7.9e9 {
		t.Errorf("counted %d µC over %d ns, want 3 A over 7.9 s", ledger.net(), ledger.HeldNanos)
	}
}
