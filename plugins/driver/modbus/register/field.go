package register

import "math"

// Type is how a number is coded.
type Type string

// The types: two's complement, unsigned, and IEEE 754.
const (
	Int16   Type = "int16"
	Uint16  Type = "uint16"
	Int32   Type = "int32"
	Uint32  Type = "uint32"
	Int64   Type = "int64"
	Float32 Type = "float32"
	Float64 Type = "float64"
)

// Types lists all there are.
var Types = []Type{Int16, Uint16, Int32, Uint32, Int64, Float32, Float64}

// Words gives how many registers a number takes; 0 = there is no such type.
func (t Type) Words() int {
	switch t {
	case Int16, Uint16:
		return 1
	case Int32, Uint32, Float32:
		return 2
	case Int64, Float64:
		return 4
	}
	return 0
}

// Order is in which order the bytes of a number come. The letters are the bytes of one of 32 bits, a the most significant; 64 bits are ordered alike,
// with four registers in place of two.
type Order string

// The orders.
const (
	ABCD Order = "abcd" // the most significant first throughout
	CDAB Order = "cdab" // the least significant register first
	BADC Order = "badc" // the low byte of each register first
	DCBA Order = "dcba" // the least significant first throughout
)

// Orders lists all there are.
var Orders = []Order{ABCD, CDAB, BADC, DCBA}

// lowWordFirst and lowByteFirst tell what an order does.
func (o Order) lowWordFirst() bool { return o == CDAB || o == DCBA }
func (o Order) lowByteFirst() bool { return o == BADC || o == DCBA }

// Field is a number among registers.
type Field struct {
	Type  Type
	Order Order
	At    int // registers before it
}

// Value reads the number from the bytes of registers, as they were sent. It panics if they do not hold it, or the type is none. Beyond 2^53, a
// number of 64 bits is rounded to the nearest a float64 holds.
func (f Field) Value(registers []byte) float64 {
	bits := f.bits(registers)
	switch f.Type {
	case Int16:
		return float64(int16(bits))
	case Uint16, Uint32:
		return float64(bits)
	case Int32:
		return float64(int32(bits))
	case Int64:
		return float64(int64(bits))
	case Float32:
		return float64(math.Float32frombits(uint32(bits)))
	case Float64:
		return math.Float64frombits(bits)
	}
	panic("register: no type " + string(f.Type))
}

// bits puts the bytes in order.
func (f Field) bits(registers []byte) (bits uint64) {
	words := f.Type.Words()
	for i := range words {
		if f.Order.lowWordFirst() {
			i = words - 1 - i
		}
		high, low := registers[2*(f.At+i)], registers[2*(f.At+i)+1]
		if f.Order.lowByteFirst() {
			high, low = low, high
		}
		bits = bits<<16 | uint64(high)<<8 | uint64(low)
	}
	return bits
}
