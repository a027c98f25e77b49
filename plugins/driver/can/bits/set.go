package bits

// Set is a set of the bits of a message.
type Set [MaxBytes / 8]uint64

// Bits gives the bits of a field that Check has passed.
func (f Field) Bits() (s Set) {
	first, last := f.span()
	for i := first; i <= last; i++ {
		bit := i
		if f.BigEndian {
			bit = i ^ 7
		}
		s[bit/64] |= 1 << (bit % 64)
	}
	return s
}

// Meets tells that two sets have a bit in common.
func (s *Set) Meets(other *Set) bool {
	for i := range s {
		if s[i]&other[i] != 0 {
			return true
		}
	}
	return false
}

// Has tells that a bit is in the set.
func (s *Set) Has(bit int) bool { return s[bit/64]>>(bit%64)&1 == 1 }
