package modbus

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"github.com/ampledger/ampledger/plugins/driver/drivertest"
	"github.com/ampledger/ampledger/plugins/driver/modbus/modbustest"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// pseudoTerminal gives the near end of one and the name of its far end, which stays open until the test ends, as a device stays plugged in.
func pseudoTerminal(t testing.TB) (near *os.File, far string) {
	t.Helper()
	near, err := os.OpenFile("/dev/ptmx", os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { near.Close() })
	raw, err := near.SyscallConn()
	if err != nil {
		t.Fatal(err)
	}
	var number int
	var failed error
	err = raw.Control(func(fd uintptr) {
		if failed = unix.IoctlSetPointerInt(int(fd), unix.TIOCSPTLCK, 0); failed == nil {
			number, failed = unix.IoctlGetInt(int(fd), unix.TIOCGPTN)
		}
	})
	if err != nil || failed != nil {
		t.Fatal(err, failed)
	}
	far = fmt.Sprintf("/dev/pts/%d", number)
	kept, err := os.OpenFile(far, os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { kept.Close() })
	if err := setUp(int(kept.Fd()), &linePlan{speed: 19200, parity: "even", stops: 1}); err != nil {
		t.Fatal(err) // or it would echo while the driver has it closed
	}
	return near, far
}

// serveRTU answers on a line until the test ends, and gives its name.
func serveRTU(t testing.TB, answer func(request) reply) string {
	t.Helper()
	near, far := pseudoTerminal(t)
	var serving sync.WaitGroup
	serving.Go(func() {
		frame := make([]byte, 8) // each request for registers
		for {
			if _, err := io.ReadFull(near, frame); err != nil {
				return
			}
			if want := modbustest.Sealed(bytes.Clone(frame[:6])...); !bytes.Equal(want, frame) {
				t.Errorf("a request of % x", frame)
			}
			to := parseRequest(frame[0], frame[1:6])
			r := answer(to)
			<-time.After(r.after)
			out := modbustest.Sealed(append([]byte{to.unit}, r.pdu(to)...)...)
			if r.raw != nil {
				out = r.raw
			}
			if r.silent {
				continue
			}
			if _, err := near.Write(out); err != nil {
				return
			}
		}
	})
	t.Cleanup(func() {
		near.Close()
		serving.Wait()
	})
	return far
}

func on(device string, reads ...any) with {
	return with{"serial": with{"device": device}, "rate_hertz": 50, "timeout_seconds": 0.1, "reads": reads}
}

func TestConformanceSerial(t *testing.T) {
	drivertest.Run(t, func() plugin.Driver { return quiet() }, on(serveRTU(t, memory), readOf(17, amperes("a", 3, nil), amperes("b", 9, with{"unit": "code"}))))
}

// TestLateAndDamagedAnswersOnALine answers one request in a way that a client without care takes for the answer to the next, too.
func TestLateAndDamagedAnswersOnALine(t *testing.T) {
	for name, bad := range map[string]reply{
		"late":             {after: 150 * time.Millisecond},
		"silent":           {silent: true},
		"damaged":          {raw: []byte{1, 3, 2, 0, 3, 1, 2}},
		"half":             {raw: []byte{1, 3, 2}},
		"another's":        {raw: modbustest.Sealed(2, 3, 2, 0, 77)},
		"another's first":  {raw: append(modbustest.Sealed(2, 3, 2, 0, 77), modbustest.Sealed(1, 3, 2, 0, 88)...)},
		"twice":            {raw: append(modbustest.Sealed(1, 3, 2, 0, 3), modbustest.Sealed(1, 3, 2, 0, 88)...)},
		"another function": {raw: modbustest.Sealed(1, 4, 2, 0, 77)},
		"too long":         {raw: modbustest.Sealed(1, 3, 4, 0, 77, 0, 78)},
		"exception":        {exception: 4},
		"noise":            {raw: []byte("\x00\xff\x00\xff\x00\xff\x00\xff")},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			line := serveRTU(t, script(func(n int) reply {
				if n == 3 {
					return bad
				}
				return reply{}
			}))
			got := points(mustCollect(t, configured(t, quiet(), on(line, readOf(1, amperes("a", 0, nil)))), 8), 0)
			for i, p := range got {
				if i > 0 && p.value <= got[i-1].value || p.value > 20 || p.value == 3 && name != "twice" {
					t.Errorf("scan %d: %+v", i, p)
				}
			}
		})
	}
}

func TestALineThatIsNone(t *testing.T) {
	const remedy = ": see whether the device is there, is a serial line, and is used by no other program"
	none := t.TempDir() + "/none"
	for path, want := range map[string]string{
		none:        "there is no connection: open " + none + ": no such file or directory" + remedy,
		"/dev/null": "there is no connection: /dev/null: it cannot be set up as a serial line: inappropriate ioctl for device" + remedy,
	} {
		_, err := collect(t, configured(t, hasty(t, quiet()), on(path, readOf(1, amperes("a", 0, nil)))), 1)
		if err == nil || !strings.HasPrefix(err.Error(), path+": nothing could be read for ") || !strings.HasSuffix(err.Error(), want) {
			t.Error(err)
		}
	}
}

// TestALineThatIsUnplugged closes the near end after five answers, while the driver polls.
func TestALineThatIsUnplugged(t *testing.T) {
	near, far := pseudoTerminal(t)
	unplug := make(chan struct{})
	var serving sync.WaitGroup
	serving.Go(func() {
		frame := make([]byte, 8)
		for range 5 {
			if _, err := io.ReadFull(near, frame); err != nil {
				return
			}
			if _, err := near.Write(modbustest.Sealed(1, 3, 2, 0, 5)); err != nil {
				return
			}
		}
		<-unplug
		near.Close()
	})
	d := configured(t, quiet(), on(far, readOf(1, amperes("a", 0, nil))))
	ahead, plain := int64(0), d.now
	d.now = func() (int64, error) {
		at, err := plain()
		return at + ahead, err
	}
	scans := 0
	err := d.Stream(t.Context(), func(f *plugin.Frame) error {
		if scans += int(f.ScanCount); scans == 5 {
			close(unplug)
			ahead = int64(patience) - 2e9 // nobody waits for that
		}
		return nil
	})
	serving.Wait()
	if scans != 5 || err == nil || !strings.HasPrefix(err.Error(), far+": nothing could be read for 3") || !strings.Contains(err.Error(), "no such file or directory") {
		t.Errorf("%d scans, %v", scans, err)
	}
}
