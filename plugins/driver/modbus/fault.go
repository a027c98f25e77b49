package modbus

import (
	"errors"
	"fmt"
	"io/fs"
	"os"

	"github.com/ampledger/ampledger/plugins/driver/modbus/wire"
)

// isException tells that a server has answered, though not with what was asked for.
func isException(err error) bool {
	var exception wire.Exception
	return errors.As(err, &exception)
}

// remedies say what an exception asks for.
var remedies = map[wire.Exception]string{
	0x01: "the server has no such registers, try holding for input or the other way round",
	0x02: "it has not all of these registers, see the addresses and split the read where registers are left out",
	0x03: "it does not give that many registers at once, split the read",
	0x04: "the server has a fault of its own",
	0x05: "the server needs longer than it may, poll more slowly",
	0x06: "poll more slowly",
	0x08: "the server has a fault of its own",
	0x0a: "see how the gateway is set up",
	0x0b: "see whether a server with that address is behind the gateway, and on",
}

// explain adds to an error what it means here and what to do.
func explain(err error, p *linePlan) error {
	if errors.Is(err, os.ErrDeadlineExceeded) && !errors.Is(err, errNotOpened) {
		return fmt.Errorf("no answer for %v: %s", p.timeout, silentRemedy(p))
	}
	if remedy := remedyOf(err, p); remedy != "" {
		return fmt.Errorf("%w: %s", err, remedy)
	}
	return err
}

func remedyOf(err error, p *linePlan) string {
	var exception wire.Exception
	is := func(target error) bool { return errors.Is(err, target) }
	switch {
	case errors.As(err, &exception):
		return remedies[exception]
	case is(fs.ErrPermission):
		return "give the user of the daemon the right to it, often by its group, such as dialout"
	case is(errNotOpened) && p.serial:
		return "see whether the device is there, is a serial line, and is used by no other program"
	case is(errNotOpened):
		return "see whether the server is on, and its address"
	case is(wire.ErrDamaged):
		return "see the speed, parity, termination and shield of the line"
	case is(wire.ErrNonsense):
		return "see whether the server speaks Modbus"
	case is(wire.ErrForeign):
		return "see whether two servers have one address"
	}
	return ""
}

func silentRemedy(p *linePlan) string {
	if p.serial {
		return "see whether the server is on, its address, and speed and parity of the line"
	}
	return "see whether the server is on, and the setting server"
}
