//go:build distribution

package daemon_test

import (
	"bufio"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/ampledger/ampledger/client"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// inPython is simulated with the estimator in Python: an executable script, its checksum, and an empty environment.
func inPython(t *testing.T, seconds int) string {
	t.Helper()
	script, err := filepath.Abs("../plugins/python/restmean.py")
	if err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(script)
	if err != nil {
		t.Fatal(err)
	}
	plugin := fmt.Sprintf("plugin: {path: %s, sha256: %x, plaintext: true}, with: {walk_amperes_per_root_hour: 0.1}", script, sha256.Sum256(text))
	return strings.Replace(simulated(seconds, ""), "plugin: fixedzero, with: {minimum_rest_seconds: 0.5}", plugin, 1)
}

// eventually waits for what tells nobody when it comes true; ctx bounds the wait.
func eventually(ctx context.Context, t *testing.T, what string, condition func() bool) {
	t.Helper()
	ticker := time.NewTicker(20 * time.Millisecond)
	defer ticker.Stop()
	for !condition() {
		select {
		case <-ticker.C:
		case <-ctx.Done():
			t.Fatalf("in vain waited for: %s", what)
		}
	}
}

// estimating waits until the conductor's estimator is another process than before and its estimates are there, and gives it.
func estimating(ctx context.Context, t *testing.T, c *client.Client, before int32) (e *ampledgerv1.Estimator) {
	t.Helper()
	eventually(ctx, t, "estimates", func() bool {
		list, err := c.Estimators.ListEstimators(ctx, &ampledgerv1.ListEstimatorsRequest{})
		if err != nil {
			t.Fatal(err)
		}
		for _, e = range list.GetEstimators() {
			if e.GetAlive() && e.GetProcessId() != before && len(e.GetEstimates()) == 2 {
				return true
			}
		}
		return false
	})
	return e
}

// failures counts the events that say that the estimator failed.
func failures(t *testing.T, s *served) (raised int) {
	t.Helper()
	page, err := s.Abuse.ListEvents(s.ctx, &ampledgerv1.ListEventsRequest{})
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range page.GetEvents() {
		if e.GetKind() == "estimator" && e.GetElement() == "restmean.py" && e.GetState() == ampledgerv1.EventState_EVENT_STATE_RAISED {
			raised++
		}
	}
	return raised
}

// The zeros that the simulator put in are found, also by the process that takes the place of one that was killed.
func TestPythonEstimatorIsKilledAndComesBack(t *testing.T) {
	c, _ := load(t, inPython(t, 3600))
	s := serve(t, c)
	const kills = 2
	var before int32
	for range kills {
		e := estimating(s.ctx, t, s.Client, before)
		if e.GetPlugin() != "restmean.py" || !strings.HasPrefix(e.GetMethod(), "the mean of all rests") {
			t.Errorf("in force: %v", e)
		}
		for _, estimate := range e.GetEstimates() {
			want := map[string]float64{"shunt": 0.3, "magnetic": 1.1}[estimate.GetChannel()]
			if u := estimate.GetStandardUncertaintyAmperes(); absolute(estimate.GetOffsetAmperes()-want) > 0.05 || u > 0.1 {
				t.Errorf("the %s channel's offset is %.3f A ± %.3f A, the simulator gave it %.1f A", estimate.GetChannel(), estimate.GetOffsetAmperes(), u, want)
			}
		}
		before = e.GetProcessId()
		if err := syscall.Kill(int(before), syscall.SIGKILL); err != nil {
			t.Fatal(err)
		}
	}
	last := estimating(s.ctx, t, s.Client, before)
	eventually(s.ctx, t, "an event of each failure", func() bool { return failures(t, s) == kills })
	s.stop()
	if !gone(t, int(last.GetProcessId())) {
		t.Errorf("process %d has outlived the daemon", last.GetProcessId())
	}
}

// Readings go on, each once, while the estimator is killed.
func TestPythonEstimatorLosesNoReading(t *testing.T) {
	c, _ := load(t, inPython(t, 60))
	s := serve(t, c)
	e := estimating(s.ctx, t, s.Client, 0)
	if err := syscall.Kill(int(e.GetProcessId()), syscall.SIGKILL); err != nil {
		t.Fatal(err)
	}
	if l := follow(t, s); l.readings["shunt"] != 60_000 || l.readings["magnetic"] != 60_000 {
		t.Errorf("%v readings, want 60000 of each", l.readings)
	}
}

// A daemon that is killed leaves neither the process nor its socket behind.
func TestPythonEstimatorEndsWithAKilledDaemon(t *testing.T) {
	_, folder := load(t, inPython(t, 3600))
	sockets, err := os.MkdirTemp("", "") // a test's own folder may have too long a name for a socket
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := os.RemoveAll(sockets); err != nil {
			t.Error(err)
		}
	})
	ctx, cancel := context.WithTimeout(t.Context(), patience)
	defer cancel()
	child := exec.CommandContext(ctx, os.Args[0])
	child.Env = append(os.Environ(), childVariable+"="+filepath.Join(folder, "pack.yaml"), "TMPDIR="+sockets)
	out, err := child.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := child.Start(); err != nil {
		t.Fatal(err)
	}
	if line, err := bufio.NewReader(out).ReadString('\n'); line != "ready\n" {
		t.Errorf("the daemon says %q (%v)", line, err)
	}
	dialled, err := client.Dial(filepath.Join(folder, "s"))
	if err != nil {
		t.Fatal(err)
	}
	e := estimating(ctx, t, dialled, 0)
	if err := errors.Join(dialled.Close(), child.Process.Kill()); err != nil {
		t.Fatal(err)
	}
	_ = child.Wait() // it was killed
	eventually(ctx, t, "the end of the process and of its folder", func() bool {
		left, err := os.ReadDir(sockets)
		if err != nil {
			t.Fatal(err)
		}
		return len(left) == 0 && gone(t, int(e.GetProcessId()))
	})
}

// gone tells whether a process has ended; one that init has not noticed yet has.
func gone(t *testing.T, pid int) bool {
	t.Helper()
	status, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		if !errors.Is(err, os.ErrNotExist) {
			t.Fatal(err)
		}
		return true
	}
	return strings.Contains(string(status), ") Z ")
}
