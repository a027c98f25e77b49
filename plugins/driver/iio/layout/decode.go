package layout

import "encoding/binary"

// Codes decodes a field of consecutive scans, as many as to has room for, less a number that makes them fit in 32 bits. The block must
// hold as many scans; that the codes fit is the caller's to know from Element.Range.
func (f *Field) Codes(to []int32, block []byte, scanBytes int, less int64) {
	e, at := f.Element, f.offset
	for i := range to {
		to[i] = int32(e.read(block[at:]) - less)
		at += scanBytes
	}
}

// Int64s decodes a field of consecutive scans, as many as to has room for, as Codes does: of an element that repeats the first word. 64 bits
// without a sign come as two's complement.
func (f *Field) Int64s(to []int64, block []byte, scanBytes int) {
	e, at := f.Element, f.offset
	for i := range to {
		to[i] = e.read(block[at:])
		at += scanBytes
	}
}

// read reads the first word. What lies above the data falls out on the left, and what its sign says comes in there.
func (e *Element) read(from []byte) int64 {
	free := uint(64-e.Bits) & 63
	up := load(from, e.StorageBits, e.BigEndian) >> (uint(e.Shift) & 63) << free
	if e.Signed {
		return int64(up) >> free
	}
	return int64(up >> free)
}

// load puts the bytes of a word together.
func load(from []byte, storageBits int, bigEndian bool) uint64 {
	switch {
	case storageBits == 8:
		return uint64(from[0])
	case storageBits == 16 && bigEndian:
		return uint64(binary.BigEndian.Uint16(from))
	case storageBits == 16:
		return uint64(binary.LittleEndian.Uint16(from))
	case storageBits == 32 && bigEndian:
		return uint64(binary.BigEndian.Uint32(from))
	case storageBits == 32:
		return uint64(binary.LittleEndian.Uint32(from))
	case bigEndian:
		return binary.BigEndian.Uint64(from)
	}
	return binary.LittleEndian.Uint64(from)
}
