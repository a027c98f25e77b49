package bits_test

import (
	"testing"

	other "go.einride.tech/can"
	"pgregory.net/rapid"

	"github.com/ampledger/ampledger/plugins/driver/can/bits"
)

// walk lists the numbers of a field's bits, the least significant first, by the plain rules: little-endian, they go up from the start; big-endian, they go
// down from the start within a byte, and on to the most significant bit of the byte after it.
func walk(f bits.Field) (numbers []int) {
	at := f.Start
	for range f.Length {
		numbers = append(numbers, at)
		switch {
		case !f.BigEndian:
			at++
		case at%8 == 0:
			at += 15
		default:
			at--
		}
	}
	if f.BigEndian {
		for i, k := 0, len(numbers)-1; i < k; i, k = i+1, k-1 {
			numbers[i], numbers[k] = numbers[k], numbers[i]
		}
	}
	return numbers
}

// slow reads a field bit by bit.
func slow(f bits.Field, data []byte) (value uint64) {
	for i, number := range walk(f) {
		value |= uint64(data[number/8]>>(number%8)&1) << i
	}
	return value
}

// slowSigned gives a negative number its value by the weight of its uppermost bit, -2^(n-1).
func slowSigned(f bits.Field, data []byte) (value int64) {
	unsigned := slow(f, data)
	for i := range f.Length {
		weight := int64(1) << i
		if i == f.Length-1 {
			weight = -weight
		}
		value += int64(unsigned>>i&1) * weight
	}
	return value
}

func inside(f bits.Field, bytes int) bool {
	if f.Start < 0 || f.Length < 1 || f.Length > 64 {
		return false
	}
	for _, number := range walk(f) {
		if number >= 8*bytes {
			return false
		}
	}
	return true
}

func TestFieldsAreReadAsBitByBit(t *testing.T) {
	for _, bytes := range []int{1, 8, 12, 64} {
		rapid.Check(t, func(t *rapid.T) {
			data := rapid.SliceOfN(rapid.Byte(), bytes, bytes).Draw(t, "data")
			f := rapid.Custom(func(t *rapid.T) bits.Field {
				return bits.Field{Start: rapid.IntRange(0, 8*bytes-1).Draw(t, "start"), Length: rapid.IntRange(1, 64).Draw(t, "length"), BigEndian: rapid.Bool().Draw(t, "big")}
			}).Filter(func(f bits.Field) bool { return inside(f, bytes) }).Draw(t, "field")
			if got, want := f.Unsigned(data), slow(f, data); got != want {
				t.Fatalf("%+v of %x: %#x, want %#x", f, data, got, want)
			}
			if got, want := f.Signed(data), slowSigned(f, data); got != want {
				t.Fatalf("%+v of %x: %d, want %d", f, data, got, want)
			}
		})
	}
}

// each calls with every field that starts in so many bytes, those that reach beyond them too.
func each(bytes int, take func(bits.Field)) {
	for start := -1; start <= 8*bytes; start++ {
		for length := range 67 {
			take(bits.Field{Start: start, Length: length})
			take(bits.Field{Start: start, Length: length, BigEndian: true})
		}
	}
}

func TestCheckPassesWhatLiesInside(t *testing.T) {
	for _, bytes := range []int{1, 2, 8, 12, 64} {
		each(bytes, func(f bits.Field) {
			if err := f.Check(bytes); (err == nil) != inside(f, bytes) {
				t.Errorf("%+v in %d bytes: %v", f, bytes, err)
			}
		})
	}
}

func TestCheckSaysWhatIsWrong(t *testing.T) {
	for want, f := range map[string]bits.Field{
		"a length of 0 bits is not within 1 to 64":                      {Start: 3},
		"a length of 65 bits is not within 1 to 64":                     {Start: 0, Length: 65},
		"bit 64 is not within 0 to 63, the bits of 8 bytes":             {Start: 64, Length: 1},
		"bit -1 is not within 0 to 63, the bits of 8 bytes":             {Start: -1, Length: 1},
		"5 bits from bit 60 on reach beyond the 8 bytes of the message": {Start: 60, Length: 5},
		"2 bits from bit 56 on reach beyond the 8 bytes of the message": {Start: 56, Length: 2, BigEndian: true},
	} {
		if err := f.Check(8); err == nil || err.Error() != want {
			t.Errorf("%+v: %v, want %s", f, err, want)
		}
	}
}

func TestBitsAreThoseOfTheField(t *testing.T) {
	for _, bytes := range []int{3, 64} {
		each(bytes, func(f bits.Field) {
			if !inside(f, bytes) {
				return
			}
			var want bits.Set
			for _, number := range walk(f) {
				want[number/64] |= 1 << (number % 64)
			}
			if got := f.Bits(); got != want {
				t.Fatalf("%+v: %x, want %x", f, got, want)
			}
		})
	}
}

func TestSetsMeet(t *testing.T) {
	a := bits.Field{Start: 0, Length: 12}.Bits()
	for _, c := range []struct {
		f     bits.Field
		meets bool
	}{{bits.Field{Start: 12, Length: 4}, false}, {bits.Field{Start: 11, Length: 1}, true}, {bits.Field{Start: 15, Length: 4, BigEndian: true}, false}, {bits.Field{Start: 15, Length: 5, BigEndian: true}, true}} {
		if b := c.f.Bits(); a.Meets(&b) != c.meets || b.Meets(&a) != c.meets {
			t.Errorf("%+v: want %v", c.f, c.meets)
		}
	}
}

// TestAgainstAnotherImplementation holds fields of a classic frame against those that go.einride.tech/can v0.17.0 reads, every one of them.
func TestAgainstAnotherImplementation(t *testing.T) {
	for _, data := range []other.Data{{0x01, 0x23, 0x45, 0x67, 0x89, 0xab, 0xcd, 0xef}, {0xff, 0x80, 0x7f, 0x00, 0x01, 0xfe, 0x55, 0xaa}} {
		each(8, func(f bits.Field) {
			if f.Check(8) != nil {
				return
			}
			start, length := uint8(f.Start), uint8(f.Length)
			unsigned, signed := data.UnsignedBitsLittleEndian(start, length), data.SignedBitsLittleEndian(start, length)
			if f.BigEndian {
				unsigned, signed = data.UnsignedBitsBigEndian(start, length), data.SignedBitsBigEndian(start, length)
			}
			if f.Unsigned(data[:]) != unsigned || f.Signed(data[:]) != signed {
				t.Errorf("%+v of %x: %#x and %d, want %#x and %d", f, data, f.Unsigned(data[:]), f.Signed(data[:]), unsigned, signed)
			}
		})
	}
}

// TestPublishedDrawing is the example that the documentation of go.einride.tech/can draws in both orders (data.go of v0.17.0): 32 bits from bit 29 on. Little-endian,
// the least significant bit is 29 and the most significant one 60; big-endian, the most significant bit is 29 and the least significant one 62.
func TestPublishedDrawing(t *testing.T) {
	for _, c := range []struct {
		big         bool
		least, most int
	}{{false, 29, 60}, {true, 62, 29}} {
		f := bits.Field{Start: 29, Length: 32, BigEndian: c.big}
		for number, want := range map[int]uint64{c.least: 1, c.most: 1 << 31} {
			data := make([]byte, 8)
			data[number/8] = 1 << (number % 8)
			if got := f.Unsigned(data); got != want {
				t.Errorf("bit %d, big-endian %v: %#x, want %#x", number, c.big, got, want)
			}
		}
	}
}

func TestDrawingsOfThePackageComment(t *testing.T) {
	little := bits.Field{Start: 12, Length: 12}
	if got := little.Unsigned([]byte{0, 0xc0, 0xab}); got != 0xabc {
		t.Errorf("little-endian: %#x", got)
	}
	big := bits.Field{Start: 11, Length: 12, BigEndian: true}
	if got := big.Unsigned([]byte{0, 0xfa, 0xbc}); got != 0xabc {
		t.Errorf("big-endian: %#x", got)
	}
}

func BenchmarkUnsigned(b *testing.B) {
	data := make([]byte, 64)
	for name, f := range map[string]bits.Field{"16 bits": {Start: 8, Length: 16}, "64 bits askew": {Start: 3, Length: 64, BigEndian: true}} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			var sum uint64
			for b.Loop() {
				sum += f.Unsigned(data)
			}
			_ = sum
		})
	}
}
