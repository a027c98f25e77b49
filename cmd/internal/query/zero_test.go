package query

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/ampledger/ampledger/cmd/internal/cli"
)

// idle is a pack through which no current flows, with its contactor closed, ten times as fast as it would be.
const idle = `
state: state
listen: {unix: s}
devices:
  - name: rig
    driver: simulate
    with:
      seed: 7
      rate_hertz: 200
      speed: 10
      duty: [{seconds: 360000, hold_amperes: 0}]
      shunt: {resistance_ohms: 0.0001, gain: 50, bits: 16, volts_per_code: 0.0001, noise_amperes: 0.06, offset_amperes: 0.3}
      magnetic: {volts_per_ampere: 0.0033, zero_volts: 2.5, bits: 16, signed: false, volts_per_code: 0.0000763, noise_amperes: 0.4, offset_amperes: 1.1}
conductors:
  - name: pack
    channels:
      - {name: shunt, device: rig, input: shunt_code, shunt: {resistance_ohms: 0.0001, gain: 50}, noise_amperes: 0.06, zero_uncertainty_amperes: 0.5}
      - {name: magnetic, device: rig, input: magnetic_code, magnetic: {volts_per_ampere: 0.0033, zero_volts: 2.5}, noise_amperes: 0.4, zero_uncertainty_amperes: 2}
    charge_from: fused
    estimator: {plugin: biasfilter}
`

// serveText serves a configuration until the test ends.
func serveText(t *testing.T, text string) (address string) {
	t.Helper()
	file := filepath.Join(t.TempDir(), "pack.yaml")
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	read, err := cli.LoadConfig(file)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	address, ended, err := startDaemon(ctx, read)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		cancel()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	})
	return address
}

// TestZeroAndMarks declares a window without current, which teaches both zeros, and posts marks, of which the third contradicts the second.
func TestZeroAndMarks(t *testing.T) {
	address := serveText(t, idle)
	ask := func(args string) string {
		t.Helper()
		stdout, stderr, status := run(t, append(strings.Fields(args), "--address", address)...)
		if status != 0 {
			t.Fatalf("%s: status %d: %s%s", args, status, stdout, stderr)
		}
		return stdout
	}
	zero := ask("zero --for 5s --by meter --note lugs-off --force") // one steady rest in a hundred is refused
	for _, c := range []struct {
		channel string
		offset  float64
	}{{"shunt", 0.3}, {"magnetic", 1.1}} {
		var mean, u, before, beforeU, after, afterU float64
		line := regexp.MustCompile(`(?m)^  ` + c.channel + ` .*$`).FindString(zero)
		var count int
		_, rest, _ := strings.Cut(line, " read ")
		if _, err := fmt.Sscanf(rest, "%f A ± %f A (%d readings); offset was %f A ± %f A, is %f A ± %f A", &mean, &u, &count, &before, &beforeU, &after, &afterU); err != nil {
			t.Fatalf("%v in\n%s", err, zero)
		}
		if count < 600 || after < c.offset-0.15 || after > c.offset+0.15 || afterU > 0.15 || beforeU < 0.4 {
			t.Errorf("the zero is %g A, found:\n%s", c.offset, line)
		}
	}
	if first := ask("mark --stored 10Ah --uncertainty 1mAh --by meter"); !regexp.MustCompile(`fused +balance moves by -?0\.0000 Ah`).MatchString(first) {
		t.Errorf("a first mark:\n%s", first)
	}
	ask("mark --stored 36000C --uncertainty 0.001Ah")
	if third := ask("mark --stored 20Ah --uncertainty 1mAh"); !strings.Contains(third, "marks contradict") {
		t.Errorf("ten ampere hours within a second:\n%s", third)
	}
	events := ""
	for range 1000 { // a note becomes an event with the next summary
		if events = ask("abuse"); strings.Contains(events, "marks contradict") {
			break
		}
	}
	if !strings.Contains(events, "zero declared") || !strings.Contains(events, "lugs-off") || !strings.Contains(events, "marks contradict") {
		t.Errorf("the log:\n%s", events)
	}
}

func TestZeroAndMarksUsedWrongly(t *testing.T) {
	for args, want := range map[string]string{
		"zero --for 2h":                         "at most 1h",
		"zero --for 0s":                         "above 0",
		"mark":                                  "--stored is required",
		"mark --stored 10":                      "is no charge such as 94.5Ah",
		"mark --stored 10Ah":                    "--uncertainty is required",
		"mark --stored NaNAh --uncertainty 1Ah": "is no charge",
		"mark --stored 1Ah --uncertainty 1Ah --at x": "is no time",
	} {
		stdout, stderr, status := run(t, strings.Fields(args)...)
		if status != 2 || !strings.Contains(stderr, want) {
			t.Errorf("%s: status %d, %q%q, want %q", args, status, stdout, stderr, want)
		}
	}
}
