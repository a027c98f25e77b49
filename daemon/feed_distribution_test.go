//go:build distribution

package daemon_test

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// TestThePythonExample runs the example with the distribution's gRPC for Python against a daemon, in lockstep: what it prints is what the daemon states.
func TestThePythonExample(t *testing.T) {
	c, _ := load(t, `
state: state
listen: {unix: s}
devices:
  - {name: bench, driver: feed, with: {mode: lockstep, rate_hertz: 1000, inputs: [{name: code, unit: code, volts_per_code: 0.00005}, {name: meter, unit: A}]}}
conductors:
  - name: pack
    channels:
      - {name: shunt, device: bench, input: code, shunt: {resistance_ohms: 0.0001, gain: 50}, noise_amperes: 0.06, zero_uncertainty_amperes: 0.5}
      - {name: meter, device: bench, input: meter, reported: {rated_amperes: 1000}, noise_amperes: 0.1, zero_uncertainty_amperes: 0.2}
`)
	s := serve(t, c)
	out := run(s.ctx, t, stubs(s.ctx, t), "/usr/bin/python3", "../client/example/feed.py", c.Listen.Unix, "bench", "3")
	if !strings.HasPrefix(out, "inputs: code in code, meter in A\n1000 shunt: ") || strings.Count(out, "\n") != 7 {
		t.Errorf("it printed\n%s", out)
	}
	a := statementOf(t, s)
	last := fmt.Sprintf("3000 shunt: %.3f C out, 2997 readings, 3 missing\n", float64(a.GetOutMicrocoulombs())*1e-6)
	if !strings.Contains(out, last) || a.GetReadingCount() != 2997 {
		t.Errorf("it printed\n%swithout %s", out, last)
	}
}

// stubs generates the Python code of the API into a folder.
func stubs(ctx context.Context, t *testing.T) string {
	t.Helper()
	plugin, err := exec.LookPath("grpc_python_plugin")
	if err != nil {
		t.Fatal(err)
	}
	to := t.TempDir()
	args := []string{"-I", "../proto", "--python_out=" + to, "--grpc_python_out=" + to, "--plugin=protoc-gen-grpc_python=" + plugin}
	for _, name := range []string{"reading", "charge", "abuse", "feed"} {
		args = append(args, filepath.Join("../proto/ampledger/v1", name+".proto"))
	}
	run(ctx, t, "", "protoc", args...)
	return to
}

// run gives what a program prints.
func run(ctx context.Context, t *testing.T, path, name string, args ...string) string {
	t.Helper()
	command := exec.CommandContext(ctx, name, args...)
	command.Env = append(os.Environ(), "PYTHONPATH="+path)
	out, err := command.CombinedOutput()
	if err != nil {
		t.Fatalf("%s: %v\n%s", name, err, out)
	}
	return string(out)
}
