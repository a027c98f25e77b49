//go:build linux

package daemon_test

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/ampledger/ampledger/client"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// stubborn is an executable that takes no notice of its standard input's end or of signals, and has a child in its group and one outside of it that take
// none either; between them all of a plugin is the driver that it becomes. It leaves the process identifiers in files.
const stubborn = `#!/bin/sh
trap '' TERM INT HUP
mkfifo %[1]s/never
exec 3<>%[1]s/never
sleep 1000 <&3 >/dev/null 2>&1 &
echo $! >%[1]s/child
setsid sh -c 'echo $$ >%[1]s/stray; exec sleep 1000' <&3 >/dev/null 2>&1 &
echo $$ >%[1]s/plugin
exec %[2]s plugin driver/simulate <&3
`

// served by a third-party executable.
const foreign = `
state: state
listen: {unix: s}
devices:
  - {name: a, driver: {path: %q, sha256: %s}, with: {seed: 7, rate_hertz: 1000, speed: 1, frame_scans: 50, duty: [{seconds: 360000, mean_amperes: 40, amplitude_amperes: 30, period_seconds: 1}],
      shunt: {resistance_ohms: 0.0001, gain: 50, bits: 16, volts_per_code: 0.0001, noise_amperes: 0.06}}}
conductors: [{name: pack, channels: [{name: shunt, device: a, input: shunt_code, shunt: {resistance_ohms: 0.0001, gain: 50}}], estimator: {plugin: fixedzero}}]
`

// TestNothingOutlivesAKilledDaemon kills a daemon that reads a driver which would live for ever, with children that would too.
func TestNothingOutlivesAKilledDaemon(t *testing.T) {
	notes := t.TempDir()
	script := filepath.Join(notes, "stubborn")
	text := fmt.Sprintf(stubborn, notes, os.Args[0])
	if err := os.WriteFile(script, []byte(text), 0o700); err != nil {
		t.Fatal(err)
	}
	_, folder := load(t, fmt.Sprintf(foreign, script, sumOf(t, script)))
	ctx, cancel := context.WithTimeout(t.Context(), 2*patience)
	defer cancel()
	child := startChild(ctx, t, filepath.Join(folder, "pack.yaml"))
	firstReading(ctx, t, filepath.Join(folder, "s"))
	all := append(childrenOf(t, child.Process.Pid), noted(t, notes, "plugin"), noted(t, notes, "child"), noted(t, notes, "stray"))
	if len(all) < 6 { // driver, estimator, guardian; the driver once more by its note; two children
		t.Errorf("processes %v: the daemon has not started what it should", all)
	}
	if err := child.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	_ = child.Wait() // it was killed
	for _, pid := range all {
		if !until(ctx, func() bool { return vanished(pid) }) {
			t.Errorf("process %d outlives the daemon", pid)
			_ = syscall.Kill(pid, syscall.SIGKILL)
		}
	}
}

// firstReading waits for a reading.
func firstReading(ctx context.Context, t *testing.T, socket string) {
	t.Helper()
	c, err := client.Dial(socket)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	enough := errors.New("enough")
	err = c.FollowReadings(ctx, &ampledgerv1.StreamReadingsRequest{Conductor: "pack", FromOldest: true}, func(*ampledgerv1.StreamReadingsResponse) error { return enough })
	if !errors.Is(err, enough) {
		t.Fatal(err)
	}
}

// noted reads a process identifier.
func noted(t *testing.T, folder, name string) (pid int) {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(folder, name))
	if err == nil {
		_, err = fmt.Sscan(string(text), &pid)
	}
	if err != nil {
		t.Fatal(err)
	}
	return pid
}

// childrenOf gives the processes that another one started and that still run.
func childrenOf(t *testing.T, parent int) (children []int) {
	t.Helper()
	entries, err := os.ReadDir("/proc")
	if err != nil {
		t.Fatal(err)
	}
	for _, entry := range entries {
		var pid, of int
		if _, err := fmt.Sscan(entry.Name(), &pid); err == nil {
			if state, ppid := processState(pid); ppid == parent && state != "Z" {
				of = pid
			}
		}
		if of != 0 {
			children = append(children, of)
		}
	}
	return children
}

// processState gives a process's state and parent, as proc(5) has them; empty = there is none.
func processState(pid int) (state string, parent int) {
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		return "", 0
	}
	_, behind, _ := strings.Cut(string(text), ") ")
	_, _ = fmt.Sscan(behind, &state, &parent) // what is not there stays empty
	return state, parent
}

// vanished tells whether a process is gone; one that has ended and waits to be noticed is.
func vanished(pid int) bool {
	state, _ := processState(pid)
	return state == "" || state == "Z"
}

// until looks for a condition that tells nobody when it comes true; false = ctx ended first.
func until(ctx context.Context, condition func() bool) bool {
	ticker := time.NewTicker(20 * time.Millisecond)
	defer ticker.Stop()
	for !condition() {
		select {
		case <-ticker.C:
		case <-ctx.Done():
			return condition()
		}
	}
	return true
}
