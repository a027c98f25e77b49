//go:build unix

package pluginhost_test

import (
	"errors"
	"fmt"
	"os"
	"syscall"
	"testing"
	"time"

	"go.uber.org/goleak"
)

// The test's own executable is also the plugins that the tests start: with the arguments plugin and a name of the table characters.
func TestMain(m *testing.M) {
	if len(os.Args) >= 3 && os.Args[1] == "plugin" {
		play, found := characters[os.Args[2]]
		if !found {
			panic("no such character: " + os.Args[2])
		}
		play()
		return
	}
	os.Exit(run(m))
}

// run runs the tests and then looks for what they may have left: processes, goroutines, files.
func run(m *testing.M) int {
	folder, err := os.MkdirTemp("", "host")
	if err == nil {
		// A process with the race detector would wait a second at its end.
		err = errors.Join(os.Setenv("TMPDIR", folder), os.Setenv("GORACE", "atexit_sleep_ms=0"))
	}
	if err != nil {
		panic(err)
	}
	defer os.RemoveAll(folder)
	code := m.Run()
	left, err := os.ReadDir(folder)
	if err := errors.Join(err, noFiles(left), noChild(), goleak.Find()); err != nil {
		fmt.Fprintln(os.Stderr, "left behind:", err)
		return 1
	}
	return code
}

func noFiles(left []os.DirEntry) (err error) {
	for _, file := range left {
		err = errors.Join(err, fmt.Errorf("file %s", file.Name()))
	}
	return err
}

// noChild tells that this process has no child, not even one that has ended and was not waited for.
func noChild() error {
	switch pid, err := syscall.Wait4(-1, nil, syscall.WNOHANG, nil); {
	case errors.Is(err, syscall.ECHILD):
		return nil
	case err != nil:
		return err
	default:
		return fmt.Errorf("a child process (%d if it has ended)", pid)
	}
}

// vanished tells whether a process is gone; one that has ended and waits to be noticed by init is.
func vanished(pid int) bool {
	if errors.Is(syscall.Kill(pid, 0), syscall.ESRCH) {
		return true
	}
	var name, state string
	file, err := os.Open(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		return errors.Is(err, os.ErrNotExist)
	}
	defer file.Close()
	_, err = fmt.Fscanf(file, "%d %s %s", new(int), &name, &state)
	return err == nil && state == "Z"
}

// waitUntil looks for a condition that tells nobody when it comes true.
func waitUntil(limit time.Duration, condition func() bool) bool {
	ticker := time.NewTicker(5 * time.Millisecond)
	defer ticker.Stop()
	deadline := time.After(limit)
	for !condition() {
		select {
		case <-ticker.C:
		case <-deadline:
			return condition()
		}
	}
	return true
}
