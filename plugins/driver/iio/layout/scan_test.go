package layout

import (
	"math/big"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func field(t testing.TB, index int, text string) Field {
	t.Helper()
	e, err := ParseElement(text)
	if err != nil {
		t.Fatal(err)
	}
	return Field{Name: text, Index: index, Element: e}
}

// The first two are drawn in iio_devbuf.rst.
func TestArrange(t *testing.T) {
	for _, c := range []struct {
		name    string
		indices []int
		types   []string
		offsets []int // in the order of the indices
		bytes   int
	}{
		{"all four", []int{0, 1, 2, 3}, []string{"be:u16/16>>0", "be:u32/32>>0", "be:u32/32>>0", "be:u64/64>>0"}, []int{0, 4, 8, 16}, 24},
		{"first and last", []int{0, 3}, []string{"be:u16/16>>0", "be:u64/64>>0"}, []int{0, 8}, 16},
		{"padded behind", []int{0, 1}, []string{"le:s64/64>>0", "le:s16/16>>0"}, []int{0, 8}, 16},
		{"order of the index, with holes", []int{7, 2}, []string{"le:u32/32>>0", "le:u8/8>>0"}, []int{0, 4}, 8},
		{"repeat is one element", []int{0, 1}, []string{"le:u16/16>>0", "le:s16/16X4>>0"}, []int{0, 8}, 16},
		{"alone", []int{5}, []string{"be:s24/32>>8"}, []int{0}, 4},
	} {
		var fields []Field
		for i, text := range c.types {
			fields = append(fields, field(t, c.indices[i], text))
		}
		bytes, err := Arrange(fields)
		var offsets []int
		for _, f := range fields {
			offsets = append(offsets, f.offset)
		}
		if err != nil || bytes != c.bytes || !slices.Equal(offsets, c.offsets) {
			t.Errorf("%s: at %v in %d bytes, %v, want %v in %d", c.name, offsets, bytes, err, c.offsets, c.bytes)
		}
	}
}

func TestArrangeOneIndex(t *testing.T) {
	same := []Field{field(t, 0, "le:u8/8"), field(t, 1, "le:u12/16"), field(t, 1, "le:u12/16")}
	if bytes, err := Arrange(same); err != nil || bytes != 4 || same[1].offset != 2 || same[2].offset != 2 {
		t.Errorf("%+v in %d bytes, %v", same, bytes, err)
	}
	_, err := Arrange([]Field{field(t, 1, "le:u12/16"), field(t, 1, "le:s12/16")})
	if err == nil || !strings.Contains(err.Error(), "the types le:u12/16>>0 and le:s12/16>>0") {
		t.Error(err)
	}
}

// encode writes a scan the slow way: bit by bit, from the words of the kernel's documentation, into what was noise before.
func encode(fields []Field, values []*big.Int, noise *rand.Rand) []byte {
	var scan []byte
	pad := func(to int) {
		for len(scan)%to != 0 {
			scan = append(scan, byte(noise.Uint32()))
		}
	}
	longest := 1
	for i, f := range fields {
		size := f.Element.StorageBits / 8 * f.Element.Repeat
		longest = max(longest, size)
		pad(size)
		for r := range f.Element.Repeat {
			word := new(big.Int).SetUint64(noise.Uint64()) // in the bits that are not data other information may stand
			for bit := range f.Element.Bits {
				set := uint(0)
				if r == 0 {
					set = values[i].Bit(bit) // of two's complement, as package big has it
				}
				word.SetBit(word, f.Element.Shift+bit, set)
			}
			bytes := make([]byte, f.Element.StorageBits/8)
			for k := range bytes { // little endian
				bytes[k] = byte(new(big.Int).Rsh(word, uint(8*k)).Uint64())
			}
			if f.Element.BigEndian {
				slices.Reverse(bytes)
			}
			scan = append(scan, bytes...)
		}
	}
	pad(longest)
	return scan
}

func TestDecodesWhatWasEncoded(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var fields []Field
		for i := range rapid.IntRange(1, 6).Draw(t, "fields") {
			fields = append(fields, Field{Index: 3 * i, Element: elements(t)})
		}
		arranged := slices.Clone(fields)
		slices.Reverse(arranged)
		scanBytes, err := Arrange(arranged)
		if err != nil {
			t.Fatal(err)
		}
		noise := rand.New(rand.NewPCG(1, rapid.Uint64().Draw(t, "noise")))
		scans := rapid.IntRange(1, 5).Draw(t, "scans")
		var block []byte
		want := make([][]int64, len(fields))
		for range scans {
			values := make([]*big.Int, len(fields))
			for i, f := range fields {
				values[i] = drawValue(t, f.Element)
				want[i] = append(want[i], int64(new(big.Int).And(values[i], new(big.Int).SetUint64(1<<64-1)).Uint64()))
			}
			block = append(block, encode(fields, values, noise)...)
		}
		if len(block) != scans*scanBytes {
			t.Fatalf("%d bytes for %d scans of %d", len(block), scans, scanBytes)
		}
		for i := range arranged {
			got := make([]int64, scans)
			if arranged[i].Int64s(got, block, scanBytes); !slices.Equal(got, want[i]) {
				t.Errorf("%v: %d, want %d", arranged[i].Element, got, want[i])
			}
		}
	})
}

// drawValue draws what fits the element, its limits among it.
func drawValue(t *rapid.T, e Element) *big.Int {
	low, high := new(big.Int), new(big.Int).Lsh(big.NewInt(1), uint(e.Bits))
	if e.Signed {
		high.Rsh(high, 1)
		low.Neg(high)
	}
	high.Sub(high, big.NewInt(1))
	switch rapid.IntRange(0, 3).Draw(t, "which") {
	case 0:
		return low
	case 1:
		return high
	}
	span := new(big.Int).Add(new(big.Int).Sub(high, low), big.NewInt(1))
	drawn := new(big.Int).SetUint64(rapid.Uint64().Draw(t, "value"))
	return drawn.Add(drawn.Mod(drawn, span), low)
}

func TestCodesLessANumber(t *testing.T) {
	f := []Field{field(t, 0, "le:u32/32")}
	if _, err := Arrange(f); err != nil {
		t.Fatal(err)
	}
	got := make([]int32, 3)
	f[0].Codes(got, []byte{0, 0, 0, 0, 255, 255, 255, 255, 0, 0, 0, 128}, 4, 1<<31)
	if want := []int32{-1 << 31, 1<<31 - 1, 0}; !slices.Equal(got, want) {
		t.Errorf("%d, want %d", got, want)
	}
}

// FuzzScans decodes whatever the bytes are under two types, and holds it against an arithmetic that knows no tricks.
func FuzzScans(f *testing.F) {
	f.Fuzz(func(t *testing.T, first, second string, block []byte) {
		a, errA := ParseElement(first)
		b, errB := ParseElement(second)
		if errA != nil || errB != nil {
			return
		}
		fields := []Field{{Index: 0, Element: a}, {Index: 1, Element: b}}
		size, err := Arrange(fields)
		if err != nil || len(block) < size {
			return
		}
		got := make([]int64, len(block)/size)
		for i := range fields {
			fields[i].Int64s(got, block, size)
			for k, value := range got {
				if want := plain(&fields[i], block[k*size:(k+1)*size]); value != want {
					t.Errorf("%v at %d: %d, want %d", fields[i].Element, fields[i].offset, value, want)
				}
			}
		}
	})
}

// plain decodes with division and remainder.
func plain(f *Field, scan []byte) int64 {
	word, e := new(big.Int), f.Element
	bytes := slices.Clone(scan[f.offset : f.offset+e.StorageBits/8])
	if !e.BigEndian {
		slices.Reverse(bytes)
	}
	word.SetBytes(bytes)
	one := big.NewInt(1)
	modulus := new(big.Int).Lsh(one, uint(e.Bits))
	word.Div(word, new(big.Int).Lsh(one, uint(e.Shift))).Mod(word, modulus)
	if e.Signed && word.Cmp(new(big.Int).Rsh(modulus, 1)) >= 0 {
		word.Sub(word, modulus)
	}
	return int64(new(big.Int).And(word, new(big.Int).SetUint64(1<<64-1)).Uint64())
}
