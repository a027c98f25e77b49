package layout

import (
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// The kernel's own examples (iio_devbuf.rst, sysfs-bus-iio), and what the task of a battery's converters brings.
func TestElementReadsAndWrites(t *testing.T) {
	for _, c := range []struct {
		text            string
		want            Element
		written         string // as the kernel writes it
		least, greatest int64
	}{
		{"le:s12/16>>4", Element{Signed: true, Bits: 12, StorageBits: 16, Repeat: 1, Shift: 4}, "le:s12/16>>4", -2048, 2047},
		{"be:u16/16>>0", Element{BigEndian: true, Bits: 16, StorageBits: 16, Repeat: 1}, "be:u16/16>>0", 0, 65535},
		{"be:u24/32>>8", Element{BigEndian: true, Bits: 24, StorageBits: 32, Repeat: 1, Shift: 8}, "be:u24/32>>8", 0, 1<<24 - 1},
		{"le:s16/16X2>>0", Element{Signed: true, Bits: 16, StorageBits: 16, Repeat: 2}, "le:s16/16X2>>0", -32768, 32767},
		{"be:s18/32", Element{BigEndian: true, Signed: true, Bits: 18, StorageBits: 32, Repeat: 1}, "be:s18/32>>0", -131072, 131071},
		{"le:s48/64>>2", Element{Signed: true, Bits: 48, StorageBits: 64, Repeat: 1, Shift: 2}, "le:s48/64>>2", -1 << 47, 1<<47 - 1},
		{"le:s64/64>>0", Element{Signed: true, Bits: 64, StorageBits: 64, Repeat: 1}, "le:s64/64>>0", -1 << 63, 1<<63 - 1},
		{"le:u32/32X0>>0", Element{Bits: 32, StorageBits: 32, Repeat: 1}, "le:u32/32>>0", 0, 1<<32 - 1},
		{"be:u1/8>>7", Element{BigEndian: true, Bits: 1, StorageBits: 8, Repeat: 1, Shift: 7}, "be:u1/8>>7", 0, 1},
	} {
		got, err := ParseElement(c.text)
		if err != nil || got != c.want || got.String() != c.written {
			t.Errorf("%s: %+v (%v), %v, want %+v", c.text, got, got, err, c.want)
		}
		if least, greatest, known := got.Range(); !known || least != c.least || greatest != c.greatest {
			t.Errorf("%s: %d to %d", c.text, least, greatest)
		}
	}
	if _, _, known := (Element{Bits: 64, StorageBits: 64, Repeat: 1}).Range(); known {
		t.Error("64 bits without a sign have a range in 64 bits with one")
	}
}

func TestElementRefuses(t *testing.T) {
	for text, want := range map[string]string{
		"":               "is no storage type",
		"s12/16>>4":      "is no storage type",
		"le:f32/32>>0":   "is no storage type",
		"le:s12/16>>-1":  "is no storage type",
		"le:s12/16>>4\n": "is no storage type",
		"me:s12/16":      "is no storage type",
		"le:s24/24>>0":   "stores 24 bits",
		"le:s12/128":     "stores 128 bits",
		"le:s0/0":        "stores 0 bits",
		"le:s0/16":       "has 0 bits of data",
		"le:s17/16":      "has 17 bits of data",
		"le:s12/16>>5":   "has 12 bits of data, shifted by 5, in 16",
		"le:s16/16X3":    "repeats 3 times",
		"le:s16/16X128":  "repeats 128 times",
	} {
		if _, err := ParseElement(text); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %s", text, err, want)
		}
	}
}

func FuzzElement(f *testing.F) {
	f.Fuzz(func(t *testing.T, text string) {
		e, err := ParseElement(text)
		if err != nil {
			return
		}
		if again, err := ParseElement(e.String()); err != nil || again != e {
			t.Errorf("%q is %+v, and %q is %+v, %v", text, e, e.String(), again, err)
		}
		if e.Bytes() < 1 || e.Bytes() > 512 || e.Bits+e.Shift > e.StorageBits {
			t.Errorf("%q: %+v", text, e)
		}
	})
}

// elements draws what ParseElement may give.
func elements(t *rapid.T) Element {
	e := Element{
		BigEndian: rapid.Bool().Draw(t, "big"), Signed: rapid.Bool().Draw(t, "signed"),
		StorageBits: rapid.SampledFrom([]int{8, 16, 32, 64}).Draw(t, "storage"), Repeat: rapid.SampledFrom([]int{1, 1, 1, 2, 4}).Draw(t, "repeat"),
	}
	e.Bits = rapid.IntRange(1, e.StorageBits).Draw(t, "bits")
	e.Shift = rapid.IntRange(0, e.StorageBits-e.Bits).Draw(t, "shift")
	return e
}
