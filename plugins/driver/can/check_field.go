package can

import (
	"cmp"
	"math"

	"github.com/ampledger/ampledger/plugins/driver/can/bits"
)

// check gives the field; order is the message's byte order, bytes its length.
func (s *fieldSettings) check(f faults, order string, bytes int) (field bits.Field, ok bool) {
	switch cmp.Or(s.ByteOrder, order) {
	case "little":
	case "big":
		field.BigEndian = true
	case "":
		f.refuse("byte_order", "missing, give little (start_bit is the least significant bit) or big (it is the most significant one)")
		return field, false
	default:
		f.refuse("byte_order", "%q is neither little nor big", cmp.Or(s.ByteOrder, order))
		return field, false
	}
	switch {
	case s.StartBit == nil:
		f.refuse("start_bit", "missing")
		return field, false
	case s.Length == nil:
		f.refuse("length", "missing, give the number of bits")
		return field, false
	}
	field.Start, field.Length = *s.StartBit, *s.Length
	if err := field.Check(bytes); err != nil {
		f.refuse("", "%w", err)
		return field, false
	}
	return field, true
}

// claim notes which bits a part of a message has, and refuses those that another part has already.
type claim struct {
	name      string
	bits      bits.Set
	multiplex *int64 // nil = in every message
}

type claims []claim

func (c *claims) add(f faults, name string, field bits.Field, multiplex *int64) {
	next := claim{name, field.Bits(), multiplex}
	for _, other := range *c {
		together := other.multiplex == nil || multiplex == nil || *other.multiplex == *multiplex
		if together && other.bits.Meets(&next.bits) {
			f.refuse("", "%s and %s have bits in common, see start_bit, length and byte_order of both", other.name, name)
			return
		}
	}
	*c = append(*c, next)
}

// nanosOf converts a setting in seconds, which must be above 0.
func nanosOf(f faults, key string, seconds *float64) int64 {
	if seconds == nil {
		return 0
	}
	if !(*seconds >= 1e-6 && *seconds <= 1e6) {
		f.refuse(key, "%v s is not within 1e-6 to 1e6", *seconds)
		return 0
	}
	return int64(math.Round(*seconds * 1e9))
}
