package wire

import (
	"encoding/binary"
	"fmt"
)

// Sizes of the kernel's structures in bytes.
const (
	ClassicSize  = 16
	FlexibleSize = 72
)

// Bits beside the identifier.
const (
	extendedBit = 1 << 31
	remoteBit   = 1 << 30
	errorBit    = 1 << 29
)

// Decode takes the bytes of a can_frame or a canfd_frame.
//
//	byte    0 … 3       4       5                  6    7         8 …
//	        identifier  length  flags of CAN FD    0    length    data, 8 or 64 bytes
//	        and bits            (else 0)                code
func (f *Frame) Decode(from []byte) error {
	*f = Frame{FD: len(from) == FlexibleSize}
	if len(from) != ClassicSize && !f.FD {
		return fmt.Errorf("%d bytes are no CAN frame, which has %d or %d", len(from), ClassicSize, FlexibleSize)
	}
	f.setID(binary.NativeEndian.Uint32(from))
	f.Length = from[4]
	if int(f.Length) > len(from)-8 {
		return fmt.Errorf("a CAN frame says it has %d bytes of data", f.Length)
	}
	if f.FD {
		f.Flags = from[5]
	} else if f.Length == MaxClassicBytes && from[7] > MaxClassicBytes && from[7] <= 15 {
		f.Code = from[7]
	}
	copy(f.Data[:], from[8:8+f.Length])
	return nil
}

// Encode appends a frame as the kernel has it.
func (f *Frame) Encode(to []byte) []byte {
	to = binary.NativeEndian.AppendUint32(to, f.idAndBits())
	to = append(to, f.Length, f.Flags, 0, f.Code)
	if f.FD {
		return append(to, f.Data[:]...)
	}
	return append(to, f.Data[:MaxClassicBytes]...)
}

// setID takes the identifier with the bits beside it.
func (f *Frame) setID(id uint32) {
	f.Error, f.Remote, f.Extended = id&errorBit != 0, id&remoteBit != 0 && !f.FD, id&extendedBit != 0
	mask := uint32(MaxID)
	if f.Extended || f.Error {
		mask = MaxExtendedID
	}
	f.ID = id & mask
}

func (f *Frame) idAndBits() uint32 {
	id := f.ID
	for _, bit := range []struct {
		set bool
		is  uint32
	}{{f.Extended, extendedBit}, {f.Remote, remoteBit}, {f.Error, errorBit}} {
		if bit.set {
			id |= bit.is
		}
	}
	return id
}
