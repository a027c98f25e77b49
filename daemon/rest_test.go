package daemon_test

import (
	"bufio"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestZeroRecordWithARestInItsFirstHour takes a real record of 48 hours in which no current flowed, as an instrument with 10 mA of resolution
// and an offset saw it, and says so of its first hour only. Uncompensated it integrates to 0.216 Ah (the recording's header: 0.2159); the bench
// counted 0.00 Ah, which the filter's balance must hold within its interval. It cannot come much nearer: in the first hour the instrument's offset was
// 1.8 mA, on the second day 6 mA (time-weighted means of the record), so what the walk is said to do decides the interval.
func TestZeroRecordWithARestInItsFirstHour(t *testing.T) {
	folder := t.TempDir()
	file := filepath.Join(folder, "rest.csv")
	if err := os.WriteFile(file, []byte(withContactor(t, 3600)), 0o600); err != nil {
		t.Fatal(err)
	}
	// Noise and the walk's upper limit are what `ampledger stability` gives of the record; the floor is the rounding, 10 mA/√12.
	a := processOne(t, fmt.Sprintf(`
state: state
devices:
  - name: bench
    driver: replay
    gap_seconds: 61
    with: {file: %q, speed: 0, inputs: [{name: amperes, column: current_a, unit: A}, {name: open, column: open}]}
conductors:
  - name: cell
    positive: charge
    contactor: {device: bench, input: open}
    channels:
      - {name: meter, device: bench, input: amperes, reported: {rated_amperes: 50}, gap_bound_amperes: 0.02, noise_amperes: 0.0045, zero_uncertainty_amperes: 0.01}
    estimator: {plugin: biasfilter, with: {channels: {meter: {zero_walk_amperes_per_root_hour: 0.0003, floor_amperes: 0.0029}}}}
`, file))
	uncompensated := -ampereHours(a.GetNetMicrocoulombs() + a.GetOffsetMicrocoulombs())
	if absolute(uncompensated-0.2159) > 0.0001 {
		t.Errorf("uncompensated the record integrates to %.4f Ah, its header says 0.2159", uncompensated)
	}
	balance, interval := -ampereHours(a.GetBalanceMicrocoulombs()), a.GetUncertainty().GetInterval95Coulombs()/3600
	if absolute(balance) > interval {
		t.Errorf("the balance is %.4f ± %.4f Ah, nothing flowed", balance, interval)
	}
	if absolute(balance) > uncompensated || interval > 0.4 {
		t.Errorf("the balance is %.4f ± %.4f Ah: no better than uncompensated, %.4f Ah", balance, interval, uncompensated)
	}
}

// withContactor gives the record with a column that says that the contactor was open for so many seconds at its beginning.
func withContactor(t *testing.T, seconds float64) string {
	t.Helper()
	file, err := os.Open(recording(t, "zero_current_rest_48h"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	var b strings.Builder
	begun, start := false, 0.0
	for lines := bufio.NewScanner(file); lines.Scan(); {
		switch line := lines.Text(); {
		case strings.HasPrefix(line, "#"):
		case !begun:
			b.WriteString(line + ",open\n")
			begun = true
		default:
			at := number(strings.Split(line, ",")[0])
			if start == 0 {
				start = at
			}
			open := 0
			if at-start <= seconds {
				open = 1
			}
			fmt.Fprintf(&b, "%s,%d\n", line, open)
		}
	}
	return b.String()
}
