//go:build linux

package pluginhost_test

import (
	"os"
	"regexp"
	"syscall"
	"testing"

	"github.com/ampledger/ampledger/daemon/scan"
)

// A plugin that leaks is killed, itself or its child, and whoever waits for it is told what it held and what it may.
func TestPluginThatLeaks(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"leaky", "leaky-parent"} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			host, _ := newHost(t)
			p := shipped(name)
			p.MemoryMegabytes = 300
			d, err := host.StartDriver(t.Context(), p, "adc0", nil)
			if err != nil {
				t.Fatal(err)
			}
			s := open(t, d)
			if err := s.Next(new(scan.Frame)); err != nil {
				t.Fatal(err)
			}
			err = s.Next(new(scan.Frame))
			if want := regexp.MustCompile(`^driver ` + name + `: held \d{3,4} MB of memory, 300 MB are allowed: it was killed$`); err == nil || !want.MatchString(err.Error()) {
				t.Errorf("%v, want %v", err, want)
			}
			closed(t, d.Process)
		})
	}
}

// Memory is watched from the start on, also while the plugin is configured.
func TestPluginThatIsTooLargeFromTheStart(t *testing.T) {
	t.Parallel()
	host, _ := newHost(t)
	p := shipped("good")
	p.MemoryMegabytes = 1 // less than any process of this kind holds
	_, err := host.StartDriver(t.Context(), p, "adc0", with{"configure": "hang"})
	if want := regexp.MustCompile(`^driver good: held \d+ MB of memory, 1 MB are allowed: it was killed$`); err == nil || !want.MatchString(err.Error()) {
		t.Errorf("%v, want %v", err, want)
	}
}

// Estimators give way to the rest, drivers do not.
func TestEstimatorsGiveWay(t *testing.T) {
	t.Parallel()
	host, _ := newHost(t)
	driver, estimator := startDriver(t, host, "good", nil), startEstimator(t, host, "good", nil, nil)
	own := nice(t, os.Getpid())
	for pid, want := range map[int]int{driver.PID(): own, estimator.PID(): max(own, 10)} {
		if got := nice(t, pid); got != want {
			t.Errorf("niceness %d, want %d", got, want)
		}
	}
}

// nice reads a process's niceness.
func nice(t *testing.T, pid int) int {
	t.Helper()
	priority, err := syscall.Getpriority(syscall.PRIO_PROCESS, pid)
	if err != nil {
		t.Fatal(err)
	}
	return 20 - priority // the kernel gives it so that it is never negative
}
