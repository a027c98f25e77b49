package daemon_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"github.com/ampledger/ampledger/daemon"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// TestGapsOfRecordings holds the gaps in a statement against what the recordings' headers say of them: how many, where and how long, in
// whole milliseconds (found by a few lines of another language over the same rows); the bound is what was configured times the duration.
func TestGapsOfRecordings(t *testing.T) {
	for _, c := range []struct {
		name       string
		gapSeconds float64
		want       []string // before, after, ms
		repeated   uint64
	}{
		{"cell_c20_discharge_charge_60s", 300, []string{"2450-2452 48969413"}, 2},
		{"drive_us06_25c_10hz", 0.5, []string{
			"6010-6011 1953", "12021-12022 1975", "18032-18033 2025", "24043-24044 2077", "30054-30055 1813", "36065-36066 2341", "42076-42077 1883",
		}, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			a := chargeOf(t, c.name, "current_a", c.gapSeconds, span{stated: map[string]string{"from_s": "0", "to_s": "1000000"}})
			var got []string
			for _, g := range a.GetLongestGaps() {
				got = append(got, fmt.Sprintf("%d-%d %d", g.GetBeforeSequence(), g.GetAfterSequence(), g.GetDurationNanos()/1e6))
				if bound := 30 * float64(g.GetDurationNanos()) / 1e3; absolute(float64(g.GetBoundMicrocoulombs())-bound) > 1 {
					t.Errorf("gap at %d is bounded by %d µC, 30 A times its duration are %.0f µC", g.GetBeforeSequence(), g.GetBoundMicrocoulombs(), bound)
				}
			}
			if diff := cmp.Diff(c.want, got); diff != "" {
				t.Errorf("gaps (-want +got):\n%s", diff)
			}
			if a.GetUnusable().GetTimeRepeatedCount() != c.repeated || a.GetGaps().GetGapCount() != uint64(len(c.want)) {
				t.Errorf("%d repeated times and %d gaps counted", a.GetUnusable().GetTimeRepeatedCount(), a.GetGaps().GetGapCount())
			}
		})
	}
}

// TestStationaryDuty makes currents of two weeks of stationary duty as the data set's header says: over each interval the current that changes
// the level by what it changed, held. As readings that are means over their interval, their charge is capacity times net change, exactly.
func TestStationaryDuty(t *testing.T) {
	const capacity = 280.0 // Ah, ours
	for profile, stated := range map[string]struct{ net, up, down float64 }{
		"frequency_reserve": {-0.063101, 8.595223, 8.658324},
		"pv_home":           {0.934019, 10.578251, 9.644232},
	} {
		t.Run(profile, func(t *testing.T) {
			folder := t.TempDir()
			currents := filepath.Join(folder, "current.csv")
			if err := os.WriteFile(currents, []byte(stationaryCurrents(t, profile, capacity)), 0o600); err != nil {
				t.Fatal(err)
			}
			a := processOne(t, fmt.Sprintf(`
state: state
devices:
  - {name: bench, driver: replay, gap_seconds: 601, with: {file: %q, speed: 0, inputs: [{name: amperes, unit: A, averaging: true}]}}
conductors:
  - {name: pack, positive: charge, channels: [{name: meter, device: bench, input: amperes, reported: {rated_amperes: 300}}]}
`, currents))
			for _, f := range []struct {
				name      string
				got, want float64
			}{
				{"net", -ampereHours(a.GetNetMicrocoulombs()), capacity * stated.net},
				{"in", ampereHours(a.GetInMicrocoulombs()), capacity * stated.up},
				{"out", ampereHours(a.GetOutMicrocoulombs()), capacity * stated.down},
			} {
				// The levels are printed to six decimals, the sums too.
				if absolute(f.got-f.want) > capacity*1.01e-6 {
					t.Errorf("%s is %.6f Ah, stated are %.6f", f.name, f.got, f.want)
				}
			}
		})
	}
}

func stationaryCurrents(t *testing.T, profile string, capacity float64) string {
	t.Helper()
	text, err := os.ReadFile(recording(t, "stationary_duty_profiles"))
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	b.WriteString("time_s,amperes\n")
	previous, begun := 0.0, false
	for line := range strings.Lines(string(text)) {
		rest, found := strings.CutPrefix(line, profile+",")
		if !found {
			continue
		}
		var at, level float64
		if _, err := fmt.Sscanf(rest, "%f,%f", &at, &level); err != nil {
			t.Fatal(err)
		}
		if begun {
			fmt.Fprintf(&b, "%.0f,%.9f\n", at, capacity*(level-previous)*3600/600)
		} else {
			fmt.Fprintf(&b, "%.0f,0\n", at)
		}
		previous, begun = level, true
	}
	return b.String()
}

// processOne processes a configuration with one channel and gives its account.
func processOne(t *testing.T, text string) *ampledgerv1.Account {
	t.Helper()
	c, _ := load(t, text)
	statements, err := daemon.Process(t.Context(), c, options(t), daemon.Outputs{})
	if err != nil {
		t.Fatal(err)
	}
	return statements[0].GetAccounts()[0]
}

func absolute(v float64) float64 {
	if v < 0 {
		return -v
	}
	return v
}

// TestAClockSetBackBeginsAnew plays a recording whose clock is set back for good. A hundred scans run behind and are counted, not integrated; from
// there on a new time base holds, and the charge goes on.
func TestAClockSetBackBeginsAnew(t *testing.T) {
	var b strings.Builder
	b.WriteString("time_s,amperes\n")
	for _, scans := range []int{200, 400} {
		for k := range scans {
			fmt.Fprintf(&b, "%d,1\n", k)
		}
	}
	file := filepath.Join(t.TempDir(), "back.csv")
	if err := os.WriteFile(file, []byte(b.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	a := processOne(t, fmt.Sprintf(`
state: state
devices: [{name: bench, driver: replay, with: {file: %q, speed: 0, frame_scans: 50, inputs: [{name: amperes, unit: A}]}}]
conductors: [{name: pack, channels: [{name: meter, device: bench, input: amperes, reported: {rated_amperes: 10}}]}]
`, file))
	// 199 s before, 299 s after the hundred; the wall-clock labels run back with the recording, so what lies between has no duration.
	if a.GetNetMicrocoulombs() != 498e6 || a.GetReadingCount() != 500 || a.GetUnusable().GetTimeBackwardsCount() != 100 {
		t.Errorf("%d µC in %d readings, %d backwards", a.GetNetMicrocoulombs(), a.GetReadingCount(), a.GetUnusable().GetTimeBackwardsCount())
	}
	if gaps := a.GetLongestGaps(); len(gaps) != 1 || gaps[0].GetDurationNanos() != 0 || gaps[0].GetCauses()[0] != "restart" {
		t.Errorf("gaps: %v", a.GetLongestGaps())
	}
}
