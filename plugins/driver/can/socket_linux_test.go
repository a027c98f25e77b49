package can

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/sys/unix"

	"github.com/ampledger/ampledger/plugins/driver/can/wire"
)

func TestInterfacesThatAreNone(t *testing.T) {
	for name, want := range map[string]string{"no-such0": `"no-such0": `, "lo": ""} {
		driver, _ := heard()
		_, err := configure(t, driver, one(0x100, nil, signal("pack", 0, nil)).and(with{"interface": name}))
		if err == nil || !strings.HasPrefix(err.Error(), `setting "interface": `+want) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestCANInterfacesAreListed(t *testing.T) {
	folder := t.TempDir()
	if got := interfaces(folder); got != "this machine has no CAN interface" {
		t.Error(got)
	}
	for name, kind := range map[string]string{"lo": "772\n", "can0": "280\n", "eth0": "1\n", "vcan3": "280\n"} {
		if err := os.MkdirAll(filepath.Join(folder, name), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(folder, name, "type"), []byte(kind), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if got := interfaces(folder); got != "the CAN interfaces here are can0, vcan3" {
		t.Error(got)
	}
}

// The kernel passes a frame if, for one of the filters, its identifier with the bits beside it is the filter's under the mask (Documentation/networking/can.rst).
func TestFiltersPassTheMessagesAlone(t *testing.T) {
	driver, _ := heard()
	d := one(0x123, nil, signal("a", 0, nil)).message(0x123, with{"extended": true}, signal("b", 0, nil)).message(0x18ff0001, with{"extended": true}, signal("c", 0, nil))
	mustConfigure(t, driver, d.and(with{"log": logFile(t, at(0, "123#"))}))
	filters := driver.plan.filters()
	for _, id := range []uint32{0x122, 0x123, 0x18ff0001, 0x08ff0001, 1} {
		for _, bits := range []uint32{0, unix.CAN_EFF_FLAG, unix.CAN_RTR_FLAG, unix.CAN_EFF_FLAG | unix.CAN_RTR_FLAG} {
			passes := false
			for _, f := range filters {
				passes = passes || (id|bits)&f.Mask == f.Id&f.Mask
			}
			var frame wire.Frame
			kernel := wire.Frame{ID: id, Extended: bits&unix.CAN_EFF_FLAG != 0, Remote: bits&unix.CAN_RTR_FLAG != 0}
			if id > wire.MaxID && !kernel.Extended {
				continue
			}
			if err := frame.Decode(kernel.Encode(nil)); err != nil {
				t.Fatal(err)
			}
			if wanted := driver.plan.message(&frame) >= 0; wanted != passes {
				t.Errorf("%#x with %#x passes: %v, is wanted: %v", id, bits, passes, wanted)
			}
		}
	}
}

func TestErrorsHaveAHint(t *testing.T) {
	for errno, want := range map[unix.Errno]string{
		unix.ENETDOWN: "bring it up", unix.ENODEV: "has gone", unix.EAFNOSUPPORT: "this kernel has no CAN", unix.EPERM: "may not", unix.EIO: "cannot be read",
	} {
		if got := hint(errno); !strings.Contains(got, want) {
			t.Errorf("%v: %s", errno, got)
		}
	}
}

func TestAnEndedSocketIsAnError(t *testing.T) {
	from, err := newBus(t).dial(&plan{network: "can0"})
	if err != nil {
		t.Fatal(err)
	}
	if err := from.Close(); err != nil {
		t.Fatal(err)
	}
	var got received
	for _, wait := range []bool{true, false} {
		if err := from.receive(&got, wait); err == nil || errors.Is(err, errEmpty) {
			t.Errorf("%v", err)
		}
	}
}
