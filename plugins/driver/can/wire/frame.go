package wire

import (
	"errors"
	"fmt"
)

// Greatest identifiers, of 11 and 29 bits.
const (
	MaxID         = 1<<11 - 1
	MaxExtendedID = 1<<29 - 1
)

// Most bytes of data.
const (
	MaxClassicBytes = 8
	MaxBytes        = 64
)

// Flags of a CAN FD frame.
const (
	BitRateSwitch uint8 = 1 << iota
	ErrorState          // the sender is error passive
	Flexible            // it is a CAN FD frame; not every log has it
)

// Frame is one frame. It is small enough to be copied.
type Frame struct {
	ID       uint32 // of an error frame: its class, as in linux/can/error.h
	Extended bool   // the identifier has 29 bits
	Remote   bool   // asks for data, and has none
	Error    bool   // was made by the controller or the kernel
	FD       bool   // is of CAN FD
	Flags    uint8  // of CAN FD
	Code     uint8  // raw length code of a classic frame if it is above 8, else 0
	Length   uint8  // bytes of data, or asked for
	Data     [MaxBytes]byte
}

// Payload gives the data, which a remote frame does not have.
func (f *Frame) Payload() []byte {
	if f.Remote {
		return nil
	}
	return f.Data[:f.Length]
}

// Name names a frame for people.
func Name(id uint32, extended bool) string {
	if extended {
		return fmt.Sprintf("0x%08X", id)
	}
	return fmt.Sprintf("0x%03X", id)
}

// ErrLength is the fault of a length that no frame has, found by errors.Is.
var ErrLength = errors.New("CAN FD has 0 to 8, 12, 16, 20, 24, 32, 48 or 64 bytes")

// CheckLength tells whether a frame may have so many bytes of data.
func CheckLength(bytes int) error {
	switch bytes {
	case 0, 1, 2, 3, 4, 5, 6, 7, 8, 12, 16, 20, 24, 32, 48, 64:
		return nil
	}
	return fmt.Errorf("%d bytes: %w", bytes, ErrLength)
}
