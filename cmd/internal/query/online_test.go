package query

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/ampledger/ampledger/client"
	"github.com/ampledger/ampledger/cmd/internal/cli"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// run runs one command and gives what it wrote and its status.
func run(t *testing.T, args ...string) (stdout, stderr string, status int) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	var out, err bytes.Buffer
	status = cli.Run(ctx, Command(), args, &out, &err)
	return out.String(), err.String(), status
}

// TestDemo is what a newcomer runs first.
func TestDemo(t *testing.T) {
	folder := t.TempDir()
	t.Setenv("TMPDIR", folder)
	stdout, stderr, status := run(t, "demo")
	if status != 0 || stderr != "" {
		t.Fatalf("status %d, stderr %q", status, stderr)
	}
	for _, part := range []string{
		"shunt: mean ± u", "magnetic: mean ± u",
		"EVENT", "raised    pack-negative/fused  discharge-inverse (inverse time)", "operated  pack-negative/fused  discharge-inverse",
		"Charge of pack-negative", "what the offset would have cost", "Compensated they differ by", "The simulator knows the truth",
	} {
		if !strings.Contains(stdout, part) {
			t.Errorf("the output lacks %q:\n%s", part, stdout)
		}
	}
	if rows := strings.Count(stdout, " … "); rows < 2*30 {
		t.Errorf("%d cells of readings, an hour has 30 lines of two", rows)
	}
	if left, err := os.ReadDir(folder); err != nil || len(left) > 0 {
		t.Errorf("the demo left %v behind (%v)", left, err)
	}
}

// shortHour serves the demonstration's scenario, cut to its overcurrent and played as fast as it can be, and waits for its end.
func shortHour(t *testing.T) (address string) {
	t.Helper()
	text := strings.NewReplacer("speed: 300", "speed: 2000", "duration_seconds: 3600", "duration_seconds: 1600").Replace(string(demoScenario))
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
	daemon, err := client.Dial(address)
	if err != nil {
		t.Fatal(err)
	}
	defer daemon.Close()
	request := &ampledgerv1.StreamReadingsRequest{Conductor: demoConductor, MaxRateHertz: 0.01, FromOldest: true}
	if err := daemon.FollowReadings(ctx, request, func(*ampledgerv1.StreamReadingsResponse) error { return nil }); err != nil {
		t.Fatal(err)
	}
	waitForOverload(t, daemon)
	return address
}

// waitForOverload waits until the log holds the hour's overcurrent: what is raised is recorded a little later.
func waitForOverload(t *testing.T, daemon *client.Client) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	from := uint64(0)
	stream, err := daemon.Abuse.StreamEvents(ctx, &ampledgerv1.StreamEventsRequest{Conductor: demoConductor, AfterLogSequence: &from})
	for err == nil {
		var change *ampledgerv1.StreamEventsResponse
		if change, err = stream.Recv(); change.GetDelivery() == ampledgerv1.Delivery_DELIVERY_RECORDED &&
			change.GetEvent().GetState() == ampledgerv1.EventState_EVENT_STATE_OPERATED {
			return
		}
	}
	t.Fatal(err)
}

// TestQuestionsToADaemon asks a daemon whose hour is over everything there is to ask.
func TestQuestionsToADaemon(t *testing.T) {
	address, folder := shortHour(t), t.TempDir()
	for _, c := range []struct {
		args   string
		status int
		want   []string // parts of what it writes
	}{
		{"watch pack-negative --from-oldest --rate 0.01", 0, []string{"shunt: mean ± u", "magnetic: mean ± u", " … "}},
		{"watch pack-negative --from-oldest --rate 0.01 --channel magnetic", 0, []string{"magnetic: mean ± u"}},
		{"watch", 2, []string{"name a conductor: pack-negative, truth"}},
		{"watch pack-positive", 2, []string{`no conductor "pack-positive"; there are pack-negative, truth`}},
		{"watch truth --channel shunt", 2, []string{`has no channel "shunt"; it has simulator`}},
		{"charge pack-negative", 0, []string{"Charge of pack-negative", "fused *", "95 % interval"}},
		{"charge pack-negative --from 2200-01-01T00:00:00Z", 1, []string{"no ledger entry lies in the span"}},
		{"charge pack-negative --from 2026-01-02T00:00:00Z --to 2026-01-01T00:00:00Z", 1, []string{"the span ends before it begins"}},
		{"abuse", 0, []string{"discharge-inverse (inverse time)", "operated", "#1\n"}},
		{"estimator list", 0, []string{"pack-negative: biasfilter, generation 1", "a Kalman filter of", "magnetic"}},
		{"estimator swap pack-negative nothing", 1, []string{`no estimator "nothing"; shipped are biasfilter, fixedzero`}},
		{"estimator swap pack-negative fixedzero --with {\"zero\":\"never\"}", 1, []string{"generation 2: failed", `"never" is none of`, "still in force"}},
		{"estimator shadow add pack-negative mine biasfilter", 0, []string{"generation 3 runs in the shadow as mine"}},
		{"estimator list", 0, []string{"biasfilter, generation 3, process", "in the shadow as mine"}},
		{"estimator compare pack-negative", 0, []string{"in force  magnetic", "mine  magnetic", "in force: biasfilter, generation 1", "mine: biasfilter, generation 3", "rest off, A", "MB"}},
		{"estimator compare pack-negative --from 2020-01-01T00:00:00Z --plot " + filepath.Join(folder, "a.svg"), 0, []string{"in force: biasfilter"}},
		{"estimator compare pack-negative --plot a.gif", 2, []string{"must end in .svg or .png"}},
		{"estimator compare pack-negative --channel nothing --plot " + filepath.Join(folder, "b.svg"), 1, []string{"nothing is recorded of that channel"}},
		{"estimator trace pack-negative --from 2020-01-01T00:00:00Z --to 2100-01-01T00:00:00Z", 0, []string{" biasfilter: shunt ", "; magnetic ", "; fused, charge "}},
		{"estimator trace pack-negative --to 2100-01-01T00:00:00Z", 2, []string{"--to goes with --from"}},
		{"estimator swap pack-negative --executable " + filepath.Join(folder, "none"), 1, []string{"no such file"}},
		{"estimator swap pack-negative --executable /bin/sh", 1, []string{"no folder is configured", "candidates: FOLDER"}},
		{"estimator swap pack-negative fixedzero --after 1ms --most-deviations 1e-9", 1, []string{"generation 4: shadowing", "times the", "still in force"}},
		{"estimator swap pack-negative --shadow nobody", 1, []string{"there is no such shadow: nobody"}},
		{"estimator revert pack-negative", 1, []string{"no estimator was in force before"}},
		{"estimator swap pack-negative", 2, []string{"give a PLUGIN, --executable FILE or --shadow NAME, one of them"}},
		{"estimator swap pack-negative --shadow mine", 0, []string{"generation 3: swapped, in force from sequence"}},
		{"estimator shadow remove pack-negative mine", 1, []string{"there is no such shadow"}},
		{"estimator swap pack-negative fixedzero", 0, []string{"generation 5: warming, 50 %", "generation 5: swapped, in force from sequence"}},
	} {
		t.Run(c.args, func(t *testing.T) {
			stdout, stderr, status := run(t, append(strings.Fields(c.args), "--address", address)...)
			if status != c.status {
				t.Errorf("status %d, want %d", status, c.status)
			}
			for _, part := range c.want {
				if !strings.Contains(stdout+stderr, part) {
					t.Errorf("lacks %q:\n%s%s", part, stdout, stderr)
				}
			}
		})
	}
	for _, args := range []string{
		"watch pack-negative --from-oldest --rate 0 --json", "watch truth --from-oldest --rate 0.01 --json", "charge pack-negative --json", "abuse --json", "estimator list --json",
	} {
		t.Run(args, func(t *testing.T) {
			stdout, stderr, status := run(t, append(strings.Fields(args), "--address", address)...)
			decoder := json.NewDecoder(strings.NewReader(stdout))
			var message map[string]any
			if err := decoder.Decode(&message); err != nil || status != 0 {
				t.Errorf("status %d, %v: %.300s%s", status, err, stdout, stderr)
			}
		})
	}
}
