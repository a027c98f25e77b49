package layout

import (
	"cmp"
	"fmt"
	"slices"
)

// Field is an element that is enabled.
type Field struct {
	Name    string // of the channel, for errors
	Index   int    // the attribute …_index: the order in the scan
	Element Element
	offset  int // bytes from the start of a scan, set by Arrange
}

// Arrange puts the enabled fields in the order of their indices, gives each its place, and tells the bytes of a scan.
//
//	index 0 be:u16/16, 1 be:u32/32, 2 be:u32/32, 3 be:u64/64
//	0-1 field 0 | 2-3 padding | 4-7 field 1 | 8-11 field 2 | 12-15 padding | 16-23 field 3
//
// Each begins at a multiple of its own bytes, and the scan is a multiple of the longest's, so that the next one is aligned as well (kernel
// documentation, iio_devbuf). Fields of one index and one type are one place; fields of one index and several types are an error.
func Arrange(fields []Field) (scanBytes int, err error) {
	slices.SortStableFunc(fields, func(a, b Field) int { return cmp.Compare(a.Index, b.Index) })
	at, longest := 0, 1
	for i := range fields {
		f := &fields[i]
		if i > 0 && f.Index == fields[i-1].Index {
			before := &fields[i-1]
			if f.Element != before.Element {
				return 0, fmt.Errorf("%s and %s have the index %d, and the types %v and %v", before.Name, f.Name, f.Index, before.Element, f.Element)
			}
			f.offset = before.offset
			continue
		}
		f.offset = align(at, f.Element.Bytes())
		at, longest = f.offset+f.Element.Bytes(), max(longest, f.Element.Bytes())
	}
	return align(at, longest), nil
}

// align gives the first multiple of size at or after a place.
func align(at, size int) int { return (at + size - 1) / size * size }
