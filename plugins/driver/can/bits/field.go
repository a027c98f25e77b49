package bits

import "fmt"

// MaxBytes is the most data a message has: that of a CAN FD frame.
const MaxBytes = 64

// MaxLength is the greatest length of a field in bits.
const MaxLength = 64

// Field is where a number stands in the data of a message.
type Field struct {
	Start     int // number of the field's first bit: the least significant one, or the most significant one if BigEndian
	Length    int // bits, 1 to MaxLength
	BigEndian bool
}

// Check tells whether a field lies within so many bytes of data.
func (f Field) Check(bytes int) error {
	switch {
	case f.Length < 1 || f.Length > MaxLength:
		return fmt.Errorf("a length of %d bits is not within 1 to %d", f.Length, MaxLength)
	case f.Start < 0 || f.Start >= 8*bytes:
		return fmt.Errorf("bit %d is not within 0 to %d, the bits of %d bytes", f.Start, 8*bytes-1, bytes)
	}
	if _, last := f.span(); last >= 8*bytes {
		return fmt.Errorf("%d bits from bit %d on reach beyond the %d bytes of the message", f.Length, f.Start, bytes)
	}
	return nil
}

// span gives the field's first and last bit, counted along its own order: from the least significant bit of byte 0 on, or, if it is BigEndian,
// from the most significant one.
func (f Field) span() (first, last int) {
	first = f.Start
	if f.BigEndian {
		first = f.Start ^ 7
	}
	return first, first + f.Length - 1
}

// Unsigned gives the number in a field that Check has passed for the data.
func (f Field) Unsigned(data []byte) uint64 {
	first, last := f.span()
	at, end, step := last/8, first/8, -1 // from the most significant byte to the least
	low := first % 8                     // bits of the least significant byte that are below the field
	high := 7 - last%8                   // bits of the most significant byte that are above it
	if f.BigEndian {
		at, end, step = first/8, last/8, 1
		low, high = 7-last%8, first%8
	}
	value := uint64(data[at] & (0xff >> high))
	if at == end {
		return value >> low
	}
	for at += step; at != end; at += step {
		value = value<<8 | uint64(data[at])
	}
	return value<<(8-low) | uint64(data[end]>>low)
}

// Signed gives the number in a field that Check has passed, as two's complement.
func (f Field) Signed(data []byte) int64 {
	unused := MaxLength - f.Length
	return int64(f.Unsigned(data)<<unused) >> unused
}
