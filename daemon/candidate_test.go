//go:build linux

package daemon_test

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"go.uber.org/zap"

	"github.com/ampledger/ampledger/daemon"
	"github.com/ampledger/ampledger/daemon/daemontest"
	"github.com/ampledger/ampledger/daemon/pipeline"
	"github.com/ampledger/ampledger/daemon/pluginhost"
	"github.com/ampledger/ampledger/daemon/scan"
	"github.com/ampledger/ampledger/plugins/plugin"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// nothing is a sink that keeps only the offset the newest readings went through.
type nothing struct{ offset float64 }

func (n *nothing) Readings(_ *pipeline.Lane, r *scan.Readings) { n.offset = r.Offset }
func (*nothing) Event(*ampledgerv1.Event)                      {}
func (*nothing) Post(*pipeline.Posting) bool                   { return true }
func (*nothing) Keep(string, *pipeline.Kept)                   {}
func (*nothing) Ended(string)                                  {}
func (*nothing) Estimated(*ampledgerv1.EstimateRecord, bool)   {}

// metered is a conductor of one reported channel, live, with an estimator in force that says 2 A.
type metered struct {
	*pipeline.Conductor
	to   *nothing
	next uint64
}

func startMetered(t *testing.T) *metered {
	t.Helper()
	c, _ := load(t, `
state: state
devices: [{name: dev, driver: replay}]
conductors:
  - name: pack
    channels: [{name: meter, device: dev, input: amperes, reported: {rated_amperes: 100}}]
    estimator: {plugin: fixedzero, with: {zero: declared, channels: {meter: {offset_amperes: 2}}}}
`)
	config := daemon.OfflineConductor(c.Conductors[0], c.Ledger)
	config.Lockstep, config.Start = false, daemon.Starter(c, daemontest.Options(t, zap.NewNop()))
	m := &metered{to: &nothing{}}
	var err error
	if m.Conductor, err = pipeline.NewConductor(config, m.to); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(m.Close)
	inputs := pipeline.NewInputs("dev", &plugin.Description{Inputs: []*plugin.Input{{Name: "amperes", Unit: "A"}}})
	if err := m.Bind(inputs, pipeline.DeviceSettings{SummaryScans: 10, StaleNanos: 5e9, EstimateStaleNanos: 5e9}); err != nil {
		t.Fatal(err)
	}
	if err := m.Begin(t.Context(), daemon.Candidate(c.Conductors[0].Estimator)); err != nil {
		t.Fatal(err)
	}
	return m
}

// apply gives ten scans, and waits for the answer to their summary.
func (m *metered) apply(ctx context.Context, t *testing.T) (offset float64) {
	t.Helper()
	f := &scan.Frame{
		Clock: scan.Clock{Epoch: 1, Sequence: m.next, Wall: int64(m.next) * 1e8, Monotonic: int64(m.next) * 1e8, Period: 1e8},
		Count: 10, Columns: []scan.Column{{Values: make([]float64, 10)}},
	}
	m.next += 10
	m.Apply(ctx, "dev", f)
	offset = m.to.offset
	answered := func() bool {
		status, _ := m.Estimator()
		return len(status.Newest) > 0 && status.Newest[0].Made.Sequence == m.next-1
	}
	if !until(ctx, answered) {
		t.Fatal("the estimator does not answer")
	}
	return offset
}

// TestCandidatesThatAreRefused swaps to executables that must not come into force: each is refused with its reason, and the one before is in force as
// it was, the same process and generation. One that is as it should be is the control.
func TestCandidatesThatAreRefused(t *testing.T) {
	ctx, cancel := context.WithTimeout(t.Context(), 2*patience)
	defer cancel()
	m := startMetered(t)
	m.apply(ctx, t)
	folder := t.TempDir()
	write := func(name, text string, mode os.FileMode) pluginhost.Program {
		path := filepath.Join(folder, name)
		if err := os.WriteFile(path, []byte(text), mode); err != nil {
			t.Fatal(err)
		}
		return pluginhost.Program{Path: path, SHA256: sumOf(t, path)}
	}
	tampered := write("tampered", "#!/bin/sh\necho good\n", 0o755)
	if err := os.WriteFile(tampered.Path, []byte("#!/bin/sh\necho bad\n"), 0o755); err != nil {
		t.Fatal(err)
	}
	itself := pluginhost.Program{Path: os.Args[0], SHA256: sumOf(t, os.Args[0]), Arguments: []string{"plugin", "estimator/fixedzero"}, Environment: []string{"GORACE"}}
	driver := itself
	driver.Arguments = []string{"plugin", "driver/replay"}
	before, _ := m.Estimator()
	for _, c := range []struct {
		name    string
		program pluginhost.Program
		want    string
	}{
		{"tampered with", tampered, "the executable's SHA-256 is not the one that was given for it; it was not started"},
		{"of another protocol version", write("future", "#!/bin/sh\necho '1|2|unix|/nowhere|grpc|'\nexec sleep 1000\n", 0o755),
			"handshake: incompatible API version with plugin. Plugin version: 2, Client versions: [1]"},
		{"no plugin", write("script", "#!/bin/sh\necho hello\n", 0o755), `is no plugin: it printed "hello" where the handshake is due`},
		{"no executable", write("text", "\x00 words\n", 0o755), "exec format error"},
		{"a folder", pluginhost.Program{Path: folder, SHA256: strings.Repeat("0", 64)}, "is not a file"},
		{"not executable", write("locked", "#!/bin/sh\n", 0o644), "may not be executed: check its mode"},
		{"missing", pluginhost.Program{Path: filepath.Join(folder, "nowhere"), SHA256: strings.Repeat("0", 64)}, "no such file or directory"},
		{"a driver", driver, "is a plugin of another kind"},
	} {
		_, err := m.Swap(ctx, pipeline.Candidate{Program: c.program}, pipeline.Trial{}, func(pipeline.Progress) {})
		if err == nil || !strings.Contains(err.Error(), c.want) || !strings.HasPrefix(err.Error(), "estimator "+c.program.Name()+": ") {
			t.Errorf("one that is %s: swap ended with %v, want %s", c.name, err, c.want)
		}
		now, _ := m.Estimator()
		if offset := m.apply(ctx, t); offset != 2 || now.PID != before.PID || now.Generation != before.Generation || now.Fault != nil {
			t.Errorf("after one that is %s, offset %g of generation %d, process %d is in force, %v", c.name, offset, now.Generation, now.PID, now.Fault)
		}
	}
	settings := map[string]any{"zero": "declared", "channels": map[string]any{"meter": map[string]any{"offset_amperes": 3}}}
	if _, err := m.Swap(ctx, pipeline.Candidate{Program: itself, Settings: settings}, pipeline.Trial{}, func(pipeline.Progress) {}); err != nil {
		t.Fatal(err)
	}
	if offset := m.apply(ctx, t); offset != 3 {
		t.Errorf("after a swap to the control, offset %g is in force", offset)
	}
}

func sumOf(t testing.TB, path string) string {
	t.Helper()
	file, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	sum := sha256.New()
	if _, err := io.Copy(sum, file); err != nil {
		t.Fatal(err)
	}
	return hex.EncodeToString(sum.Sum(nil))
}
