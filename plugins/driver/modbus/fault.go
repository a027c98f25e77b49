package modbus

import (
	"errors"
	"fmt"

	protocol "github.com/simonvetter/modbus"
)

// exceptions are those of MODBUS Application Protocol V1.1b3, section 7, by its names, and what to do.
var exceptions = []struct {
	err    error
	code   int
	name   string
	remedy string
}{
	{protocol.ErrIllegalFunction, 0x01, "ILLEGAL FUNCTION", "the server has no such registers, try holding for input or the other way round"},
	{protocol.ErrIllegalDataAddress, 0x02, "ILLEGAL DATA ADDRESS", "it has not all of these registers, see the addresses and split the read where registers are left out"},
	{protocol.ErrIllegalDataValue, 0x03, "ILLEGAL DATA VALUE", "it does not give that many registers at once, split the read"},
	{protocol.ErrServerDeviceFailure, 0x04, "SERVER DEVICE FAILURE", "the server has a fault of its own"},
	{protocol.ErrAcknowledge, 0x05, "ACKNOWLEDGE", "the server needs longer than it may, poll more slowly"},
	{protocol.ErrServerDeviceBusy, 0x06, "SERVER DEVICE BUSY", "poll more slowly"},
	{protocol.ErrMemoryParityError, 0x08, "MEMORY PARITY ERROR", "the server has a fault of its own"},
	{protocol.ErrGWPathUnavailable, 0x0a, "GATEWAY PATH UNAVAILABLE", "see how the gateway is set up"},
	{protocol.ErrGWTargetFailedToRespond, 0x0b, "GATEWAY TARGET DEVICE FAILED TO RESPOND", "see whether a server with that address is behind the gateway, and on"},
}

// isException tells that a server has answered, though not with what was asked for.
func isException(err error) bool {
	for i := range exceptions {
		if errors.Is(err, exceptions[i].err) {
			return true
		}
	}
	return false
}

// explain adds to an error what it means here and what to do.
func explain(err error, p *linePlan) error {
	for _, e := range exceptions {
		if errors.Is(err, e.err) {
			return fmt.Errorf("exception %02X, %s: %s", e.code, e.name, e.remedy)
		}
	}
	if remedy := remedyOf(err, p); remedy != "" {
		return fmt.Errorf("%w: %s", err, remedy)
	}
	return err
}

func remedyOf(err error, p *linePlan) string {
	is := func(target error) bool { return errors.Is(err, target) }
	switch {
	case is(errNoRight):
		return "give the user of the daemon the right to the device, often by its group, such as dialout"
	case is(errNotOpened) && p.serial:
		return "see whether the device is there and is a serial line"
	case is(errNotOpened):
		return "see whether the server is on, and its address"
	case is(protocol.ErrRequestTimedOut) && p.serial:
		return fmt.Sprintf("there was no answer for %v, see whether the server is on, its address, and speed and parity of the line", p.timeout)
	case is(protocol.ErrRequestTimedOut):
		return fmt.Sprintf("there was no answer for %v, see whether the server is on, and the setting server", p.timeout)
	case is(protocol.ErrBadCRC), is(protocol.ErrShortFrame):
		return "the answer was damaged on the line, see its speed, parity, termination and shield"
	case is(protocol.ErrProtocolError):
		return "this is no answer to the request, see whether the server speaks Modbus"
	case is(protocol.ErrBadUnitId):
		return "another server has answered, see whether two have one address"
	}
	return ""
}
