package layout

import (
	"fmt"
	"math/bits"
	"regexp"
	"strconv"
)

// Element is how one quantity is stored in a scan, as the attribute …_type says it.
//
//	[be|le]:[s|u]BITS/STORAGE[Xrepeat][>>SHIFT]      le:s12/16>>4   be:u24/32>>8   le:s16/16X2>>0
//
// The stored word of StorageBits is shifted right by Shift and masked to Bits; what is left is two's complement if Signed.
type Element struct {
	BigEndian   bool
	Signed      bool
	Bits        int // 1 to 64 bits of data
	StorageBits int // 8, 16, 32 or 64, what Bits and Shift fit into
	Repeat      int // equal words one after the other: 1, or a power of two up to 64
	Shift       int // bits
}

var form = regexp.MustCompile(`^(be|le):([su])(\d{1,3})/(\d{1,3})(?:X(\d{1,3}))?(?:>>(\d{1,3}))?$`)

// ParseElement reads the text of an attribute …_type. A repeat of 0 is one of 1, as the kernel's documentation of buffers has it. What it
// does not know (floating point, words of other sizes, a repeat whose alignment is not documented) is an error.
func ParseElement(text string) (Element, error) {
	part := form.FindStringSubmatch(text)
	if part == nil {
		return Element{}, fmt.Errorf("%q is no storage type this driver reads, such as le:s12/16>>4", text)
	}
	e := Element{BigEndian: part[1] == "be", Signed: part[2] == "s", Repeat: 1}
	e.Bits, e.StorageBits, e.Shift = whole(part[3]), whole(part[4]), whole(part[6])
	e.Repeat = max(whole(part[5]), 1)
	switch {
	case e.StorageBits < 8 || e.StorageBits > 64 || !powerOfTwo(e.StorageBits):
		return Element{}, fmt.Errorf("%q stores %d bits, this driver reads 8, 16, 32 and 64", text, e.StorageBits)
	case e.Bits < 1 || e.Bits+e.Shift > e.StorageBits:
		return Element{}, fmt.Errorf("%q has %d bits of data, shifted by %d, in %d bits of storage", text, e.Bits, e.Shift, e.StorageBits)
	case e.Repeat > 64 || !powerOfTwo(e.Repeat):
		return Element{}, fmt.Errorf("%q repeats %d times, this driver reads 1, 2, 4 … 64", text, e.Repeat)
	}
	return e, nil
}

// whole reads up to three digits; none are 0.
func whole(digits string) int {
	n, _ := strconv.Atoi(digits) // the form has checked them
	return n
}

func powerOfTwo(n int) bool { return bits.OnesCount(uint(n)) == 1 }

// String gives the text that ParseElement reads, with the shift always and the repeat where there is one, as the kernel writes it.
func (e Element) String() string {
	order, sign, repeat := "le", "u", ""
	if e.BigEndian {
		order = "be"
	}
	if e.Signed {
		sign = "s"
	}
	if e.Repeat > 1 {
		repeat = "X" + strconv.Itoa(e.Repeat)
	}
	return fmt.Sprintf("%s:%s%d/%d%s>>%d", order, sign, e.Bits, e.StorageBits, repeat, e.Shift)
}

// Bytes is the room of the element in a scan, all repeats of it, and its alignment.
func (e Element) Bytes() int { return e.StorageBits / 8 * e.Repeat }

// Range gives the limits of the data; known is false if they do not fit (64 bits without a sign).
func (e Element) Range() (least, greatest int64, known bool) {
	switch {
	case e.Signed:
		return -1 << (e.Bits - 1), 1<<(e.Bits-1) - 1, true
	case e.Bits == 64:
		return 0, 0, false
	}
	return 0, 1<<e.Bits - 1, true
}
