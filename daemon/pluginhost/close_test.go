//go:build unix

package pluginhost_test

import (
	"context"
	"fmt"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"go.uber.org/zap"
	"go.uber.org/zap/zapcore"
	"go.uber.org/zap/zaptest/observer"

	"github.com/ampledger/ampledger/daemon/pluginhost"
	"github.com/ampledger/ampledger/daemon/scan"
)

func TestCloseMayBeCalledByAll(t *testing.T) {
	t.Parallel()
	host, _ := newHost(t)
	d := startDriver(t, host, "good", nil)
	if d.Exited() {
		t.Error("ended before Close")
	}
	pid := d.PID()
	var closing sync.WaitGroup
	for range 8 {
		closing.Go(func() {
			d.Close()
			if !d.Exited() || !vanished(pid) {
				t.Error("Close returned before the process has ended")
			}
		})
	}
	closing.Wait()
	d.Close()
	_, err := d.Stream(t.Context())
	wantError(t, err, "driver good: grpc: the client connection is closing")
}

func TestCloseWhileAFrameIsWaitedFor(t *testing.T) {
	t.Parallel()
	host, _ := newHost(t)
	d := startDriver(t, host, "sweeper", nil)
	s := open(t, d)
	if err := s.Next(new(scan.Frame)); err != nil {
		t.Fatal(err)
	}
	waiting := make(chan error)
	go func() { waiting <- s.Next(new(scan.Frame)) }()
	d.Close()
	if err := <-waiting; err == nil || !strings.HasPrefix(err.Error(), "driver sweeper: ") {
		t.Errorf("Next: %v", err)
	}
}

// A stream that is ended leaves the driver time to put its device in order.
func TestDriverMayCleanUp(t *testing.T) {
	t.Parallel()
	host, written := newHost(t)
	d := startDriver(t, host, "sweeper", nil)
	ctx, end := context.WithCancel(t.Context())
	s, err := d.Stream(ctx)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Next(new(scan.Frame)); err != nil {
		t.Fatal(err)
	}
	end()
	wantError(t, s.Next(new(scan.Frame)), "driver sweeper: context canceled")
	d.Close()
	select {
	case line := <-written:
		if line != "the converter is asleep" {
			t.Errorf("it wrote %q", line)
		}
	default:
		t.Error("its last words are missing")
	}
}

func TestStubbornPluginIsKilled(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct{ least, most time.Duration }{
		"stubborn": {time.Second, 4 * time.Second}, // the default
		"stopped":  {0, 3 * time.Second},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			host, _ := newHost(t)
			if name == "stopped" {
				host.Deadlines.Close = 200 * time.Millisecond
			}
			d := startDriver(t, host, "stubborn", nil)
			if name == "stopped" { // it cannot even answer that it will end
				if err := syscall.Kill(d.PID(), syscall.SIGSTOP); err != nil {
					t.Fatal(err)
				}
			}
			began := time.Now()
			closed(t, d.Process)
			if took := time.Since(began); took < c.least || took > c.most {
				t.Errorf("Close took %v, want %v to %v", took, c.least, c.most)
			}
		})
	}
}

// childOf waits for a plugin's word on the process it started.
func childOf(t *testing.T, written lines) (pid int) {
	t.Helper()
	select {
	case line := <-written:
		if _, err := fmt.Sscanf(line, "child %d", &pid); err != nil {
			t.Fatalf("it wrote %q", line)
		}
	case <-time.After(10 * time.Second):
		t.Fatal("it wrote nothing")
	}
	return pid
}

func TestWhatAPluginStartedEndsWithIt(t *testing.T) {
	t.Parallel()
	for name, end := range map[string]func(*pluginhost.Driver) error{
		"closed": func(d *pluginhost.Driver) error { d.Close(); return nil },
		"killed": func(d *pluginhost.Driver) error { return syscall.Kill(d.PID(), syscall.SIGKILL) },
	} {
		for _, parent := range []string{"parent", "far-parent"} { // whose child leaves its group
			t.Run(parent+" "+name, func(t *testing.T) {
				t.Parallel()
				host, written := newHost(t)
				d := startDriver(t, host, parent, nil)
				child := childOf(t, written)
				if err := end(d); err != nil {
					t.Fatal(err)
				}
				closed(t, d.Process)
				if !waitUntil(10*time.Second, func() bool { return vanished(child) }) {
					t.Errorf("its child %d runs on", child)
				}
			})
		}
	}
}

// A process that left the plugin's group, cannot be found by its environment and holds its output open does not hold Close up for ever.
func TestCloseDoesNotWaitForAStranger(t *testing.T) {
	t.Parallel()
	host, written := newHost(t)
	host.Deadlines.Close = 200 * time.Millisecond
	d := startDriver(t, host, "hermit", nil)
	child := childOf(t, written)
	defer syscall.Kill(child, syscall.SIGKILL)
	began := time.Now()
	closed(t, d.Process)
	if took := time.Since(began); took > 4*time.Second {
		t.Errorf("Close took %v", took)
	}
}

func TestKilledMidway(t *testing.T) {
	t.Parallel()
	host, _ := newHost(t)
	d := startDriver(t, host, "sweeper", nil)
	s := open(t, d)
	if err := s.Next(new(scan.Frame)); err != nil {
		t.Fatal(err)
	}
	if err := syscall.Kill(d.PID(), syscall.SIGKILL); err != nil {
		t.Fatal(err)
	}
	wantError(t, s.Next(new(scan.Frame)), "driver sweeper: process ended (signal: killed)")
	if !d.Exited() {
		t.Error("not seen as ended")
	}
}

// A plugin that writes without end to its standard error fills no log, is not held up, and what it says last is known: each line is logged or counted.
func TestFloodOfStandardError(t *testing.T) {
	t.Parallel()
	host, _ := newHost(t)
	core, seen := observer.New(zapcore.InfoLevel)
	host.Log = zap.New(core)
	began := time.Now()
	d := startDriver(t, host, "flood", nil)
	s := open(t, d)
	for range 2 {
		if err := s.Next(new(scan.Frame)); err != nil {
			t.Fatal(err)
		}
	}
	wantError(t, s.Next(new(scan.Frame)), "driver flood: process ended (exit status 4): no more to say")
	d.Close()
	logged, leftOut := 0, 0
	for _, e := range seen.All() {
		if count, is := e.ContextMap()["lines_left_out"]; is {
			leftOut += int(count.(int64))
		} else {
			logged++
		}
	}
	const most = 500 // a second
	if logged+leftOut != floodLines+1 || logged > most*(2+int(time.Since(began)/time.Second)) || leftOut == 0 {
		t.Errorf("%d lines in the log and %d left out, there were %d", logged, leftOut, floodLines+1)
	}
}
