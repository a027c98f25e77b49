package register

import (
	"encoding/binary"
	"fmt"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// letters are the orders written out for each number of registers, the most significant byte being a.
var letters = map[int]map[Order]string{
	1: {ABCD: "ab", CDAB: "ab", BADC: "ba", DCBA: "ba"},
	2: {ABCD: "abcd", CDAB: "cdab", BADC: "badc", DCBA: "dcba"},
	4: {ABCD: "abcdefgh", CDAB: "ghefcdab", BADC: "badcfehg", DCBA: "hgfedcba"},
}

// send orders bytes, the most significant first, as the letters say.
func send(order string, bytes []byte) (sent []byte) {
	for _, letter := range order {
		sent = append(sent, bytes[letter-'a'])
	}
	return sent
}

// receive is the slow, obvious reading: put each byte where its letter says, then take the number.
func receive(f Field, registers []byte) float64 {
	order := letters[f.Type.Words()][f.Order]
	bytes := make([]byte, len(order))
	for i, letter := range order {
		bytes[letter-'a'] = registers[2*f.At+i]
	}
	switch f.Type {
	case Int16:
		return float64(int16(binary.BigEndian.Uint16(bytes)))
	case Uint16:
		return float64(binary.BigEndian.Uint16(bytes))
	case Int32:
		return float64(int32(binary.BigEndian.Uint32(bytes)))
	case Uint32:
		return float64(binary.BigEndian.Uint32(bytes))
	case Int64:
		return float64(int64(binary.BigEndian.Uint64(bytes)))
	case Float32:
		return float64(math.Float32frombits(binary.BigEndian.Uint32(bytes)))
	}
	return math.Float64frombits(binary.BigEndian.Uint64(bytes))
}

// TestEncodings has each type in each order. The bytes in the first order are those of two's complement and of IEEE 754: 12.5 is 1.1001b·2^3,
// so its sign and exponent are 0 and 127+3 or 1023+3.
func TestEncodings(t *testing.T) {
	for _, c := range []struct {
		of   Type
		want float64
		sent string // in hexadecimal, by order
	}{
		{Int16, -2, "fffe fffe feff feff"},
		{Int16, -32768, "8000 8000 0080 0080"},
		{Int16, 258, "0102 0102 0201 0201"},
		{Uint16, 65534, "fffe fffe feff feff"},
		{Int32, 16909060, "01020304 03040102 02010403 04030201"},
		{Int32, -16909061, "fefdfcfb fcfbfefd fdfefbfc fbfcfdfe"},
		{Uint32, 4278058235, "fefdfcfb fcfbfefd fdfefbfc fbfcfdfe"},
		{Int64, 72623859790382856, "0102030405060708 0708050603040102 0201040306050807 0807060504030201"},
		{Int64, -1, "ffffffffffffffff ffffffffffffffff ffffffffffffffff ffffffffffffffff"},
		{Float32, 12.5, "41480000 00004148 48410000 00004841"},
		{Float64, 12.5, "4029000000000000 0000000000004029 2940000000000000 0000000000002940"},
		{Float64, math.Inf(-1), "fff0000000000000 000000000000fff0 f0ff000000000000 000000000000f0ff"},
	} {
		for i, sent := range strings.Fields(c.sent) {
			var registers []byte
			if _, err := fmt.Sscanf("aaaa"+sent+"bbbb", "%x", &registers); err != nil {
				t.Fatal(err)
			}
			if got := (Field{c.of, Orders[i], 1}).Value(registers); got != c.want {
				t.Errorf("%s, %s of %s: %v, want %v", c.of, Orders[i], sent, got, c.want)
			}
		}
	}
}

// TestWhatIsSentIsRead encodes whole numbers and floats by the letters and reads them.
func TestWhatIsSentIsRead(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		of, order := rapid.SampledFrom(Types).Draw(t, "type"), rapid.SampledFrom(Orders).Draw(t, "order")
		bits, at := rapid.Uint64().Draw(t, "bits"), rapid.IntRange(0, 3).Draw(t, "at")
		bytes := binary.BigEndian.AppendUint64(nil, bits)[8-2*of.Words():]
		registers := append(make([]byte, 2*at), send(letters[of.Words()][order], bytes)...)
		f := Field{of, order, at}
		if got, want := f.Value(registers), receive(f, registers); !same(got, want) {
			t.Errorf("%+v of %x: %v, want %v", f, registers, got, want)
		}
		plain := Field{of, ABCD, 0}
		if got, want := f.Value(registers), plain.Value(bytes); !same(got, want) {
			t.Errorf("%+v of %x: %v, in plain order %v", f, registers, got, want)
		}
	})
}

func same(a, b float64) bool { return math.Float64bits(a) == math.Float64bits(b) || a != a && b != b }

func FuzzValue(f *testing.F) {
	for i, of := range Types {
		for j := range Orders {
			f.Add(byte(i), byte(j), byte(i%3), []byte{0x41, 0x48, 0xff, 0xff, 0x80, 0, 0x7f, 0xf0, 1, 2, 3, 4, 5, 6, byte(len(of))})
		}
	}
	f.Fuzz(func(t *testing.T, of, order, at byte, registers []byte) {
		field := Field{Types[int(of)%len(Types)], Orders[int(order)%len(Orders)], int(at)}
		if 2*(field.At+field.Type.Words()) > len(registers) {
			return
		}
		if got, want := field.Value(registers), receive(field, registers); !same(got, want) {
			t.Errorf("%+v of %x: %v, want %v", field, registers, got, want)
		}
	})
}

func TestTypesOfNoKind(t *testing.T) {
	if words := Type("int24").Words(); words != 0 {
		t.Errorf("int24 takes %d registers", words)
	}
	defer func() {
		if recover() == nil {
			t.Error("a type that is none was read")
		}
	}()
	Field{Type: "int24"}.Value([]byte{1, 2, 3, 4})
}

func BenchmarkValue(b *testing.B) {
	registers := []byte{1, 2, 3, 4, 5, 6, 7, 8}
	for _, f := range []Field{{Int16, ABCD, 0}, {Float32, CDAB, 0}, {Float64, DCBA, 0}} {
		b.Run(string(f.Type), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				_ = f.Value(registers)
			}
		})
	}
}
