package query

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/ampledger/ampledger/client"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// pulsed is a pack from which 400 A flow for a second, once: more than the shunt's converter can tell.
const pulsed = `
state: state
listen: {unix: s}
abuse: {before_seconds: 0.5, after_seconds: 1.5}
devices:
  - name: rig
    driver: simulate
    with:
      seed: 7
      rate_hertz: 1000
      speed: 20
      frame_scans: 37
      duty: [{hold_amperes: 5, seconds: 2}, {hold_amperes: 400, seconds: 1}, {hold_amperes: 5, seconds: 3600}]
      shunt: {resistance_ohms: 0.0001, gain: 50, bits: 16, volts_per_code: 0.00005, noise_amperes: 0.06}
conductors:
  - name: pack
    channels:
      - {name: shunt, device: rig, input: shunt_code, shunt: {resistance_ohms: 0.0001, gain: 50}, noise_amperes: 0.06, zero_uncertainty_amperes: 0.5}
    guard: [{name: short, channel: shunt, direction: discharge, definite_time: {pickup_amperes: 300, delay_seconds: 0.2}}]
`

// eventOf waits until an element's event has its waveform and gives its name.
func eventOf(t *testing.T, address, element string) (name string) {
	t.Helper()
	daemon, err := client.Dial(address)
	if err != nil {
		t.Fatal(err)
	}
	defer daemon.Close()
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	from, found := uint64(0), fmt.Errorf("found")
	err = daemon.FollowEvents(ctx, &ampledgerv1.StreamEventsRequest{AfterLogSequence: &from}, func(item *ampledgerv1.StreamEventsResponse) error {
		if e := item.GetEvent(); e.GetElement() == element && e.GetLogSequence() != 0 {
			name = e.GetEventId()
			return found
		}
		return nil
	})
	if err != found {
		t.Fatal(err)
	}
	// Its window is closed once readings from well behind it are there.
	err = daemon.FollowReadings(ctx, &ampledgerv1.StreamReadingsRequest{Conductor: "pack", FromOldest: true}, func(item *ampledgerv1.StreamReadingsResponse) error {
		stream, err := daemon.Abuse.GetWaveform(ctx, &ampledgerv1.GetWaveformRequest{EventId: name})
		if err == nil {
			_, err = stream.Recv()
		}
		if err == nil {
			return found
		}
		return nil
	})
	if err != found {
		t.Fatal(err)
	}
	return name
}

// TestAbuse lists an event with the readings around it, draws it, and says that it was seen.
func TestAbuse(t *testing.T) {
	address := serveText(t, pulsed)
	name := eventOf(t, address, "short")
	ask := func(want int, args ...string) (stdout, stderr string) {
		t.Helper()
		stdout, stderr, status := run(t, append(args, "--address", address)...)
		if status != want {
			t.Fatalf("%v: status %d: %.500s%s", args, status, stdout, stderr)
		}
		return stdout, stderr
	}

	table, stderr := ask(0, "abuse", "--waveform", name)
	rows := strings.Split(strings.TrimSpace(table), "\n")
	if len(rows) != 1+2001 || rows[0] != "seconds_from_onset,current_amperes,quality" || stderr != "" {
		t.Fatalf("%d rows: %.200s%s", len(rows), table, stderr)
	}
	for row, want := range map[int]string{1: "-0.5,5", 500: "-0.001,", 501: "0,3", 502: "0.001,3", 2001: "1.5,"} {
		if !strings.HasPrefix(rows[row], want) {
			t.Errorf("row %d is %q, want %s…", row, rows[row], want)
		}
	}
	if saturated := strings.Count(table, ",saturated\n"); saturated != 1000 {
		t.Errorf("%d readings are at the converter's limit, 1000 are", saturated)
	}

	messages, _ := ask(0, "abuse", "--waveform", name, "--json")
	count := 0
	for line := range strings.Lines(messages) {
		var message struct {
			Waveform *struct{ Complete bool }
			Frame    *struct {
				Amperes []float64 `json:"current_amperes"`
			}
		}
		if err := json.Unmarshal([]byte(line), &message); err != nil {
			t.Fatal(err)
		}
		if message.Frame != nil {
			count += len(message.Frame.Amperes)
		} else if !message.Waveform.Complete {
			t.Errorf("got %s", line)
		}
	}
	if count != 2001 {
		t.Errorf("%d readings as JSON", count)
	}
	for _, file := range []string{"w.svg", "w.png"} {
		file = filepath.Join(t.TempDir(), file)
		ask(0, "abuse", "--waveform", name, "--plot", file)
		if picture, err := os.ReadFile(file); err != nil || len(picture) < 5000 {
			t.Errorf("%s: %d bytes, %v", file, len(picture), err)
		}
	}

	if said, _ := ask(0, "abuse", "acknowledge", name, "--by", "Ada", "--note", "a test"); !strings.Contains(said, name+" was seen by Ada at 20") {
		t.Errorf("said %q", said)
	}
	if _, said := ask(1, "abuse", "acknowledge", name, "--by", "Bob"); !strings.Contains(said, `was acknowledged by "Ada" at`) {
		t.Errorf("said %q", said)
	}
	all, _ := ask(0, "abuse")
	for _, part := range []string{name + "  #1\n", "short (definite time)", "[seen by Ada at 20", ": a test]"} {
		if !strings.Contains(all, part) {
			t.Errorf("the list lacks %q:\n%s", part, all)
		}
	}
	if open, _ := ask(0, "abuse", "--open"); strings.Contains(open, "short (definite time)") || !strings.Contains(open, "saturated") {
		t.Errorf("what is open:\n%s", open)
	}
	if _, said := ask(1, "abuse", "--waveform", "nothing"); !strings.Contains(said, `no event "nothing" is recorded`) {
		t.Errorf("said %q", said)
	}
}

func TestAbuseUsedWrongly(t *testing.T) {
	for args, want := range map[string]string{
		"abuse --plot x.svg":                     "--plot is only for --waveform",
		"abuse --waveform x --plot x.gif":        "must end in .svg or .png",
		"abuse pack --waveform x":                "leave pack out",
		"abuse acknowledge":                      "takes 1 argument(s), 0 given",
		"abuse acknowledge x":                    "--by is required",
		"abuse acknowledge x y --by z":           "takes 1 argument(s), 2 given",
		"abuse --follow --open":                  "exclude one another",
		"abuse --waveform x --open":              "exclude one another",
		"abuse --waveform x --plot y.svg --json": "exclude each other",
	} {
		stdout, stderr, status := run(t, strings.Fields(args)...)
		if status != 2 || !strings.Contains(stderr, want) {
			t.Errorf("%s: status %d, %q%q, want %q", args, status, stdout, stderr, want)
		}
	}
}
