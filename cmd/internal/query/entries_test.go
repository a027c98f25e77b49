package query

import (
	"net"
	"path/filepath"
	"strings"
	"testing"

	"github.com/ampledger/ampledger/daemon/service/servicetest"
	"github.com/ampledger/ampledger/daemon/store"
)

// withLedger serves a ledger that holds entries of four kinds and gives the socket's address.
func withLedger(t *testing.T) (address string) {
	t.Helper()
	rig := servicetest.New(t, servicetest.Retained)
	rig.FeedAmperes("adc0", 3600, 3600, 3600)
	rig.Skip("adc0", 10)
	rig.FeedAmperes("adc0", -3600, -3600)
	rig.Post()
	entry := store.Entry{Conductor: "pack", Channel: "shunt", Device: "adc0", FromWallNanos: 1e18, ToWallNanos: 1e18, Reason: "interval"}
	marked, configured, uncounted := entry, entry, entry
	marked.Kind, marked.Mark = store.Marked, store.Mark{StoredCoulombs: 36000, StandardUncertaintyCoulombs: 360, By: "Ada", Note: "full"}
	configured.Kind, configured.ConfigurationSHA256, configured.Reason = store.Configured, strings.Repeat("ab", 32), "the daemon started"
	uncounted.Kind, uncounted.Reason = store.Uncounted, "gap"
	uncounted.Totals = store.Totals{
		DurationNanos: 60e9, GapNanos: 60e9, GapCount: 1, OutMicrocoulombs: 36e9, GapAssumedMicrocoulombs: 36e9, GapBoundMicrocoulombs: 72e9,
	}
	for _, e := range []store.Entry{marked, configured, uncounted} {
		var gaps []store.Gap
		if e.GapCount > 0 {
			gaps = []store.Gap{{DurationNanos: 60e9, Causes: []string{"daemon down"}}}
		}
		if !rig.Recorder.Post(e, gaps) {
			t.Fatal(rig.Recorder.Health())
		}
	}
	rig.Flush()
	path := filepath.Join(t.TempDir(), "s")
	listener, err := net.Listen("unix", path)
	if err != nil {
		t.Fatal(err)
	}
	rig.Serve(listener)
	return "unix:" + path
}

// TestEntries lists a ledger.
func TestEntries(t *testing.T) {
	address := withLedger(t)
	const (
		first = "2001-09-09 01:46:40.000  "
		shunt = first + "interval       pack/shunt  1.400 s  out 0.7500 Ah  in 0.6500 Ah  1 gap(s) of 1.100 s, ± 0.0611 Ah (silence, lost)  #1\n"
		marks = first + "mark           pack/shunt  stored 10.0000 ± 0.1000 Ah, says \"Ada\": full  interval  #4\n" +
			first + "configuration  pack/shunt  SHA-256 abababababababababababababababababababababababababababababababab  the daemon started  #5\n"
		away = first + "gap            pack/shunt  1m0s  out 10.0000 Ah  in 0.0000 Ah  1 gap(s) of 1m0s, ± 20.0000 Ah (daemon down)  #6\n"
	)
	for args, row := range map[string]struct {
		status int
		want   string
	}{
		"pack --channel shunt":        {0, shunt + marks + away},
		"--kind mark,configuration":   {0, marks},
		"pack --kind gap":             {0, away},
		"--kind adjustment":           {0, ""},
		"--kind profit":               {2, `ampledger: --kind "profit" is none of opening, interval, adjustment, gap, mark, configuration, commissioning` + "\n"},
		"pack --channel left":         {1, `ampledger: there is no channel "left"` + "\n"},
		"--to 2000-01-01T00:00:00Z":   {1, "ampledger: no ledger entry lies in the span: it ends before the ledger opens\n"},
		"--from 2200-01-01T00:00:00Z": {1, "ampledger: no ledger entry lies in the span: it begins in the future\n"},
		"--from 2001-09-09T01:46:41Z": {0, ""},
	} {
		t.Run(args, func(t *testing.T) {
			stdout, stderr, status := run(t, append([]string{"charge", "--entries", "--address", address}, strings.Fields(args)...)...)
			if got := map[bool]string{true: stdout, false: stderr}[row.status == 0]; status != row.status || !strings.HasSuffix(got, row.want) || row.status == 0 && got != row.want {
				t.Errorf("status %d, want %d\n%s%s want\n%s", status, row.status, stdout, stderr, row.want)
			}
		})
	}
	stdout, _, status := run(t, "charge", "--entries", "--json", "--kind", "mark", "--address", address)
	if status != 0 || !strings.Contains(stdout, `"kind":"ENTRY_KIND_MARK"`) || strings.Count(stdout, "\n") != 1 {
		t.Errorf("status %d: %s", status, stdout)
	}
	stdout, _, status = run(t, "charge", "pack", "--address", address)
	if last := stdout[strings.LastIndex(stdout[:len(stdout)-1], "\n")+1:]; status != 0 || !strings.HasPrefix(last, "ledger's chain: 6:") || len(last) != len("ledger's chain: 6:\n")+64 {
		t.Errorf("status %d: %s", status, stdout)
	}
}
