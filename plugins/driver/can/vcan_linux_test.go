//go:build vcan

package can

import (
	"errors"
	"net"
	"os/exec"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"github.com/ampledger/ampledger/plugins/driver/can/wire"
	"github.com/ampledger/ampledger/plugins/driver/drivertest"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// These tests need a CAN interface: vcan0, up, with an MTU of 72, and the right to bring it down. DEVELOPERS.md says how to have one anywhere.
const network = "vcan0"

// sender opens a socket that sends on an interface, and gives a function that does.
func sender(t testing.TB) func(...wire.Frame) {
	t.Helper()
	on, err := net.InterfaceByName(network)
	if err != nil {
		t.Fatal(err)
	}
	fd, err := unix.Socket(unix.AF_CAN, unix.SOCK_RAW|unix.SOCK_CLOEXEC, unix.CAN_RAW)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = unix.Close(fd) })
	if err := errors.Join(unix.SetsockoptInt(fd, unix.SOL_CAN_RAW, unix.CAN_RAW_FD_FRAMES, 1), unix.Bind(fd, &unix.SockaddrCAN{Ifindex: on.Index})); err != nil {
		t.Fatal(err)
	}
	return func(frames ...wire.Frame) {
		for i := range frames {
			if _, err := unix.Write(fd, frames[i].Encode(nil)); err != nil {
				t.Error(err)
			}
		}
	}
}

func link(t testing.TB, state string) {
	t.Helper()
	if out, err := exec.Command("ip", "link", "set", network, state).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
}

// onWire runs a driver on the interface; begun is called once when it listens.
func onWire(t testing.TB, d *described, begun func(), take func(*plugin.Frame) error) (said string, err error) {
	t.Helper()
	driver, buffer := heard()
	mustConfigure(t, driver, d.and(with{"interface": network}))
	open := driver.dial
	driver.dial = func(p *plan) (source, error) {
		from, err := open(p)
		if err == nil {
			begun()
		}
		return from, err
	}
	err = driver.Stream(t.Context(), take)
	return buffer.String(), err
}

func TestConformanceOnVCAN(t *testing.T) {
	send, b := sender(t), &bus{t: t}
	b.each(2*time.Millisecond, func(i int) {
		send(frameOf(0x123, byte(i), byte(i>>8), byte(i)), frameOf(0x200, make([]byte, 12)...), frameOf(0x124, 1))
	})
	d := one(0x123, with{"bytes": 3, "counter": with{"start_bit": 16, "length": 8}}, signal("pack", 0, nil)).
		message(0x200, with{"bytes": 12}, signal("ambient", 64, with{"unit": "Cel", "hold_seconds": 1}))
	drivertest.Run(t, func() plugin.Driver { d, _ := heard(); return d }, d.and(with{"interface": network}))
}

// TestFramesOnVCAN sends frames of both kinds, those that nobody asked for among them. Each has the time at which it was sent, not that at which it was read.
func TestFramesOnVCAN(t *testing.T) {
	send := sender(t)
	extended, remote := frameOf(0x18ff0001, 3, 0), frameOf(0x18ff0001)
	extended.Extended, remote.Extended, remote.Remote = true, true, true
	d := one(0x18ff0001, with{"extended": true, "bytes": 2}, signal("pack", 0, nil)).message(0x200, with{"bytes": 64}, signal("far", 496, with{"unit": "V"}))
	flexible := frameOf(0x200, make([]byte, 64)...)
	flexible.Data[62] = 7
	(newBus(t)).warm()
	var before, after int64
	said, err := onWire(t, d, func() {
		send(frameOf(0x001, 9, 9), remote, flexible)
		before = boot(t)
		send(extended)
		after = boot(t)
		<-time.NewTimer(20 * time.Millisecond).C
	}, func(f *plugin.Frame) error {
		if f.ScanCount != 1 || f.Columns[0].Values[0] != 3 || f.Columns[1].Values[0] != 7 {
			t.Errorf("%v", f)
		}
		if at := f.FirstMonotonicNanos; at < before-500_000 || at > after+500_000 {
			t.Errorf("the time is %d, it was sent from %d to %d", at, before, after)
		}
		return errEnough
	})
	if !errors.Is(err, errEnough) || said != "" {
		t.Errorf("%v, said %q", err, said)
	}
}

// TestVCANWithoutRoom sends more than the kernel has room for: the sequence ends where the number of frames sent says.
func TestVCANWithoutRoom(t *testing.T) {
	const sent = 20000
	send := sender(t)
	var scans, last uint64
	said, err := onWire(t, one(0x100, with{"bytes": 2}, signal("pack", 0, with{"type": "unsigned"})), func() {
		for i := range sent {
			send(frameOf(0x100, byte(i), byte(i>>8)))
		}
	}, func(f *plugin.Frame) error {
		scans += uint64(f.ScanCount)
		for i, number := range f.Columns[0].Values {
			if last = f.FirstSequence + uint64(i); float64(last) != number {
				t.Fatalf("frame %v has the sequence %d", number, last)
			}
		}
		if last == sent {
			return errEnough
		}
		if f.ScanCount < mostScans && last < sent {
			send(frameOf(0x100, sent&0xff, sent>>8))
		}
		return nil
	})
	if !errors.Is(err, errEnough) || scans >= sent || !strings.Contains(said, "found no room in the kernel") {
		t.Errorf("%v, %d scans of %d, said %q", err, scans, sent, said)
	}
	t.Logf("%d of %d had room", scans, sent)
}

func TestVCANThatGoesDown(t *testing.T) {
	send := sender(t)
	t.Cleanup(func() { link(t, "up") })
	d := one(0x100, with{"bytes": 1}, signal("pack", 0, with{"length": 8}))
	scans := 0
	_, err := onWire(t, d, func() { send(frameOf(0x100, 1)) }, func(f *plugin.Frame) error {
		if scans += int(f.ScanCount); scans == 1 {
			link(t, "down")
		}
		return nil
	})
	if scans != 1 || !errors.Is(err, unix.ENETDOWN) || !strings.Contains(err.Error(), "bring it up") {
		t.Errorf("%d scans, %v", scans, err)
	}
	// One that is down is found to be so at the start.
	if _, err := onWire(t, d, func() {}, func(*plugin.Frame) error { return nil }); !errors.Is(err, unix.ENETDOWN) {
		t.Error(err)
	}
}

func TestWhatIsNoCANInterface(t *testing.T) {
	driver, _ := heard()
	_, err := configure(t, driver, one(0x100, nil, signal("pack", 0, nil)).and(with{"interface": "lo"}))
	if err == nil || !strings.Contains(err.Error(), `"lo" is no CAN interface: `) || !strings.Contains(err.Error(), "the CAN interfaces here are "+network) {
		t.Error(err)
	}
}
