package iio

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"math"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"go.uber.org/goleak"
	"golang.org/x/sys/unix"

	"github.com/ampledger/ampledger/plugins/driver/internal/boottime"
	"github.com/ampledger/ampledger/plugins/plugin"
	"github.com/ampledger/ampledger/plugins/plugintest"
	pluginv1 "github.com/ampledger/ampledger/proto/ampledger/plugin/v1"
)

var full = flag.Bool("full", false, "run the long form of the test of throughput, a minute")

// patient is how long a run may take, on a machine that has little time for it.
const patient = 4 * time.Minute

// The test's own executable is also the driver's process.
func TestMain(m *testing.M) {
	if len(os.Args) == 2 && os.Args[1] == "driver" {
		plugin.ServeDriver(New())
		return
	}
	goleak.VerifyTestMain(m)
}

// follower holds what a driver gives against what the device took.
type follower struct {
	device *kernel
	next   uint64 // the sequence that is due
	scans  uint64
	lost   []span
}

func (f *follower) take(frame *plugin.Frame) error {
	switch first := frame.GetFirstSequence(); {
	case first < f.next:
		return fmt.Errorf("sequence %d after %d", first, f.next-1)
	case first > f.next:
		f.lost = append(f.lost, span{f.next, first - f.next})
		f.next = first
	}
	for i := range int(frame.GetScanCount()) {
		for channel, want := range kernelCodes(f.next) {
			if got := frame.GetColumns()[channel].GetCodes()[i]; got != want {
				return fmt.Errorf("channel %d of scan %d is %d, want %d", channel, f.next, got, want)
			}
		}
		if off := frame.GetFirstMonotonicNanos() + frame.GetOffsetNanos()[i] - f.device.due(f.next); off > kernelJitter || off < -kernelJitter {
			return fmt.Errorf("scan %d has a time %d ns off", f.next, off)
		}
		f.next++
		f.scans++
	}
	return nil
}

// sinceGap counts the scans after the last gap.
func (f *follower) sinceGap() uint64 {
	last := f.lost[len(f.lost)-1]
	return f.next - last.first - last.scans
}

// TestThroughput reads four channels at 50 kHz in a process of its own, over the wire: a buffer of 0.66 s loses no scan, also on a busy machine. With
// -full it takes a minute. What the process used is logged, its start included.
func TestThroughput(t *testing.T) {
	seconds := uint64(2)
	if *full {
		seconds = 60
	}
	device, root := newKernel(t)
	ctx, cancel := context.WithTimeout(t.Context(), patient)
	defer cancel()
	ended := make(chan error, 1)
	go func() { ended <- device.run(ctx, seconds*kernelHertz) }()
	f, before := &follower{device: device}, childrenSeconds(t)
	err := streamProcess(ctx, at(root, buffered(with{"buffer_scans": mostScans})), func(frame *plugin.Frame) error {
		if err := f.take(frame); err != nil {
			return err
		}
		if f.next == seconds*kernelHertz {
			return errEnough
		}
		return nil
	})
	cancel()
	if err := errors.Join(err, <-ended); !errors.Is(err, errEnough) {
		t.Errorf("after %d scans: %v", f.scans, err)
	}
	if f.scans != seconds*kernelHertz || len(f.lost) != 0 || len(device.lost) != 0 {
		t.Errorf("%d scans of %d, lost %v, of them for want of room %v", f.scans, seconds*kernelHertz, f.lost, device.lost)
	}
	load, err := os.ReadFile("/proc/loadavg")
	if err != nil {
		t.Error(err)
	}
	t.Logf("%d scans, %d readings in %d s, lost %v; the driver used %.4f s of CPU a second; the device was %v late at most; load %s",
		f.scans, 4*f.scans, seconds, f.lost, (childrenSeconds(t)-before)/float64(seconds), device.late, strings.TrimSpace(string(load)))
}

// streamProcess runs the driver as a process and gives take its frames, until take or the stream fails. The process has ended then.
func streamProcess(ctx context.Context, settings with, take func(*plugin.Frame) error) (err error) {
	executable := plugintest.Executable{Path: os.Args[0], Arguments: []string{"driver"}, Environment: []string{"GORACE=atexit_sleep_ms=0"}}
	process, err := executable.Start(ctx, plugin.KindDriver)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, process.Close()) }()
	from, err := plugin.NewSettings(settings)
	if err != nil {
		return err
	}
	service := process.Service().(pluginv1.DriverServiceClient)
	if _, err := service.Configure(ctx, &pluginv1.DriverServiceConfigureRequest{Device: "d", Settings: from.Struct()}); err != nil {
		return err
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	stream, err := service.Stream(ctx, &pluginv1.StreamRequest{})
	for err == nil {
		var frame *plugin.Frame
		if frame, err = stream.Recv(); err == nil {
			err = take(frame)
		}
	}
	return err
}

// childrenSeconds is the CPU time, user's and system's, of the processes that were started and have ended.
func childrenSeconds(t *testing.T) float64 {
	t.Helper()
	var used unix.Rusage
	if err := unix.Getrusage(unix.RUSAGE_CHILDREN, &used); err != nil {
		t.Fatal(err)
	}
	return float64(used.Utime.Nano()+used.Stime.Nano()) / 1e9
}

// TestSlowReaderSeesTheOverflowAsGaps stands still until the device has dropped so many scans, then goes on. Each scan that was dropped must be
// in a gap, and no other: the gaps of the sequence are held against the device's own list.
func TestSlowReaderSeesTheOverflowAsGaps(t *testing.T) {
	device, root := newKernel(t)
	d := quiet()
	d.now = boottime.Nanos
	mustConfigure(t, d, at(root, buffered(nil)))
	ctx, cancel := context.WithTimeout(t.Context(), patient)
	defer cancel()
	ended := make(chan error, 1)
	go func() { ended <- device.run(ctx, math.MaxInt32) }()
	f, stalls, stalled := &follower{device: device}, []uint64{1, 100, 3000, 20_000}, 0
	err := d.Stream(ctx, func(frame *plugin.Frame) error {
		if err := f.take(frame); err != nil {
			return err
		}
		switch {
		case len(f.lost) < stalled: // the gap is still to come
			return nil
		case stalled < len(stalls):
			stalled++
			return device.await(ctx, device.dropped.Load()+stalls[stalled-1])
		case f.sinceGap() > 5000: // more than were on their way
			return errEnough
		}
		return nil
	})
	cancel()
	if fault := <-ended; !errors.Is(err, errEnough) || fault != nil {
		t.Fatalf("after %d scans: %v, %v", f.scans, err, fault)
	}
	dropped := slices.DeleteFunc(device.lost, func(s span) bool { return s.first >= f.next })
	if !slices.Equal(f.lost, dropped) || len(f.lost) < len(stalls) {
		t.Errorf("gaps %v, want %v, %d or more", f.lost, dropped, len(stalls))
	}
	t.Logf("%d scans and the gaps %v", f.scans, f.lost)
}

// await waits until a number of scans has been dropped.
func (k *kernel) await(ctx context.Context, dropped uint64) error {
	for k.dropped.Load() < dropped {
		select {
		case <-k.drops:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	return nil
}
