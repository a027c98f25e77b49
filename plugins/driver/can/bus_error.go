package can

import (
	"strings"

	"github.com/ampledger/ampledger/plugins/driver/can/wire"
)

// Classes of error frames and states of a controller, of linux/can/error.h.
const (
	errorController = 0x004
	errorBusOff     = 0x040
	errorRestarted  = 0x100

	controllerOverflow = 0x01
	controllerPassive  = 0x10 | 0x20
)

// errorClasses are those the kernel is asked for.
const errorClasses = errorController | errorBusOff | errorRestarted

// busError says what an error frame reports, and whether the controller has lost frames.
func busError(f *wire.Frame) (text string, overflow bool) {
	var parts []string
	add := func(is bool, part string) {
		if is {
			parts = append(parts, part)
		}
	}
	state := f.Data[1]
	overflow = f.ID&errorController != 0 && state&controllerOverflow != 0
	add(f.ID&errorBusOff != 0, "bus off, it takes no part in the bus until it is restarted (see restart-ms of ip link)")
	add(f.ID&errorRestarted != 0, "restarted after bus off")
	add(overflow, "frames were lost, it had no room for them")
	add(f.ID&errorController != 0 && state&controllerPassive != 0, "error passive, see the bit rate, the wiring and the termination")
	add(len(parts) == 0, "errors on the bus have become more or fewer")
	return strings.Join(parts, "; "), overflow
}
