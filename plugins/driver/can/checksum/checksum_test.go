package checksum_test

import (
	"encoding/hex"
	"slices"
	"testing"

	"github.com/ampledger/ampledger/plugins/driver/can/checksum"
)

func sumOf(t *testing.T, name string, parts ...[]byte) uint16 {
	t.Helper()
	a, found := checksum.Find(name)
	if !found {
		t.Fatalf("there is no %s", name)
	}
	sum := a.Begin()
	for _, part := range parts {
		sum = a.Add(sum, part)
	}
	return a.End(sum)
}

// TestCheckValues has the check value of each cyclic algorithm, the sum of the text 123456789, from the CRC RevEng catalogue of parametrised CRC algorithms
// (entries CRC-8/SAE-J1850, CRC-8/AUTOSAR, CRC-8/SMBUS, CRC-16/IBM-3740). TestLongDivision has the one that is not listed there. The sums of bytes
// are by hand: 9·53 modulo 256, and 0x31.
func TestCheckValues(t *testing.T) {
	for name, want := range map[string]uint16{
		"crc8-sae-j1850": 0x4b, "crc8-autosar": 0xdf, "crc8-smbus": 0xf4, "crc16-ibm-3740": 0x29b1, "sum8": 0xdd, "xor8": 0x31,
	} {
		if got := sumOf(t, name, []byte("123456789")); got != want {
			t.Errorf("%s: %#x, want %#x", name, got, want)
		}
	}
}

// TestCodewords has the messages with their sums behind them that AUTOSAR's Specification of CRC Routines (Classic Platform R21-11, 7.2.1.1, 7.2.1.2 and
// 7.2.2.1) prints, as the CRC RevEng catalogue cites them; those of crc8-sae-j1850 stand in SAE J1850, table 1, too.
func TestCodewords(t *testing.T) {
	for name, words := range map[string][]string{
		"crc8-sae-j1850": {"0000000059", "F2018337", "0FAA005579", "00FF5511B8", "332255AABBCCDDEEFFCB", "926B558C", "FFFFFFFF74"},
		"crc8-autosar":   {"0000000012", "F20183C2", "0FAA0055C6", "00FF551177", "332255AABBCCDDEEFF11", "926B5533", "FFFFFFFF6C"},
		"crc16-ibm-3740": {"0000000084C0", "F20183D374", "0FAA00552023", "00FF5511B8F9", "332255AABBCCDDEEFFF53F", "926B550745", "FFFFFFFF1D0F"},
	} {
		for _, word := range words {
			data, err := hex.DecodeString(word)
			if err != nil {
				t.Fatal(err)
			}
			a, _ := checksum.Find(name)
			end := len(data) - a.Bits/8
			want := uint16(0)
			for _, b := range data[end:] {
				want = want<<8 | uint16(b)
			}
			if got := sumOf(t, name, data[:end]); got != want {
				t.Errorf("%s of %x: %#x, want %#x", name, data[:end], got, want)
			}
		}
	}
}

// TestLongDivision holds the tables against the remainder of a division, bit by bit, of the message as one long polynomial.
func TestLongDivision(t *testing.T) {
	for _, c := range []struct {
		name       string
		polynomial uint32 // with its uppermost term
		bits       int
		same       uint32 // is added to the first bits of the message and to the remainder
		inverted   bool
	}{
		{"crc8-sae-j1850", 0x11d, 8, 0xff, true}, {"crc8-sae-j1850-zero", 0x11d, 8, 0, false}, {"crc8-autosar", 0x12f, 8, 0xff, true},
		{"crc8-smbus", 0x107, 8, 0, false}, {"crc16-ibm-3740", 0x11021, 16, 0xffff, false},
	} {
		message := []byte{0x80, 0x01, 0xfe, 0x55, 0x00, 0xaa, 0x7f}
		var bits []uint32
		for _, b := range message {
			for i := 7; i >= 0; i-- {
				bits = append(bits, uint32(b>>i&1))
			}
		}
		bits = append(bits, make([]uint32, c.bits)...)
		for i := range c.bits {
			bits[i] ^= c.same >> (c.bits - 1 - i) & 1
		}
		remainder := uint32(0)
		for _, b := range bits {
			if remainder = remainder<<1 | b; remainder>>c.bits == 1 {
				remainder ^= c.polynomial
			}
		}
		if c.inverted {
			remainder ^= c.same
		}
		if got := sumOf(t, c.name, message); uint32(got) != remainder {
			t.Errorf("%s: %#x, want %#x", c.name, got, remainder)
		}
	}
}

func TestPartsAddUp(t *testing.T) {
	data := []byte{1, 2, 0xfe, 4, 0x80, 6}
	for _, name := range checksum.Names() {
		whole := sumOf(t, name, data)
		for cut := range data {
			if got := sumOf(t, name, data[:cut], nil, data[cut:]); got != whole {
				t.Errorf("%s cut at %d: %#x, want %#x", name, cut, got, whole)
			}
		}
	}
}

func TestFind(t *testing.T) {
	if _, found := checksum.Find("crc8"); found {
		t.Error("crc8 is found, and is none")
	}
	if names := checksum.Names(); len(names) != 7 || !slices.Contains(names, "xor8") {
		t.Errorf("%q", names)
	}
}
