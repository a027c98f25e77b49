package wire_test

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"

	other "go.einride.tech/can"
	"pgregory.net/rapid"

	"github.com/ampledger/ampledger/plugins/driver/can/wire"
)

func frame(id uint32, data ...byte) wire.Frame {
	f := wire.Frame{ID: id, Length: uint8(len(data))}
	copy(f.Data[:], data)
	return f
}

func with(f wire.Frame, change func(*wire.Frame)) wire.Frame {
	change(&f)
	return f
}

func flexible(f wire.Frame, flags uint8) wire.Frame {
	f.FD, f.Flags = true, flags
	return f
}

func extended(f *wire.Frame) { f.Extended = true }

func line(nanos int64, network string, f wire.Frame) wire.Line {
	return wire.Line{Nanos: nanos, Interface: []byte(network), Frame: f}
}

func same(a, b *wire.Line) bool {
	return a.Nanos == b.Nanos && bytes.Equal(a.Interface, b.Interface) && a.Frame == b.Frame
}

func long() (data []byte) {
	for i := range 64 {
		data = append(data, byte(i))
	}
	return data
}

// TestLines reads texts and writes them again as they were.
func TestLines(t *testing.T) {
	for text, want := range map[string]wire.Line{
		"(1700000000.123456) can0 123#DEADBEEF":                       line(1700000000123456000, "can0", frame(0x123, 0xde, 0xad, 0xbe, 0xef)),
		"(0000000000.000001) vcan0 7FF#":                              line(1000, "vcan0", frame(0x7ff)),
		"(0000000001.000000001) c 000#00":                             line(1e9+1, "c", frame(0, 0)),
		"(1700000000.000000) can0 18FF1234#0102030405060708":          line(17e17, "can0", with(frame(0x18ff1234, 1, 2, 3, 4, 5, 6, 7, 8), extended)),
		"(1700000000.000000) can0 00000001#":                          line(17e17, "can0", with(frame(1), extended)),
		"(1700000000.000000) can0 123#R":                              line(17e17, "can0", with(frame(0x123), func(f *wire.Frame) { f.Remote = true })),
		"(1700000000.000000) can0 123#R4":                             line(17e17, "can0", with(frame(0x123), func(f *wire.Frame) { f.Remote, f.Length = true, 4 })),
		"(1700000000.000000) can0 123#R8_E":                           line(17e17, "can0", with(frame(0x123), func(f *wire.Frame) { f.Remote, f.Length, f.Code = true, 8, 14 })),
		"(1700000000.000000) can0 123#0102030405060708_9":             line(17e17, "can0", with(frame(0x123, 1, 2, 3, 4, 5, 6, 7, 8), func(f *wire.Frame) { f.Code = 9 })),
		"(1700000000.000000) can0 123##3AB":                           line(17e17, "can0", flexible(frame(0x123, 0xab), wire.BitRateSwitch|wire.ErrorState)),
		"(1700000000.000000) can0 123##4":                             line(17e17, "can0", flexible(frame(0x123), wire.Flexible)),
		fmt.Sprintf("(1700000000.000000) can0 1ABCDEF0##1%X", long()): line(17e17, "can0", with(flexible(frame(0x1abcdef0, long()...), 1), extended)),
		"(1700000000.000000) can0 20000040#0004000000000000":          line(17e17, "can0", with(frame(0x40, 0, 4, 0, 0, 0, 0, 0, 0), func(f *wire.Frame) { f.Error = true })),
		"(2305843008.999999) can0 123#":                               line(2305843008999999000, "can0", frame(0x123)),
	} {
		var got wire.Line
		if err := got.Parse([]byte(text)); err != nil || !same(&got, &want) {
			t.Errorf("%s: %+v, %v", text, got, err)
		}
		if back := string(want.Append(nil)); back != text {
			t.Errorf("written as %s, want %s", back, text)
		}
	}
}

// TestOtherWaysToWriteALine reads what other writers of such logs make of the same.
func TestOtherWaysToWriteALine(t *testing.T) {
	want := line(1500000000, "can0", frame(0x1ab, 0xde, 0xad))
	for _, text := range []string{
		"(0000000001.500000) can0 1AB#DEAD R", "(1.5) can0 1ab#dead T ", "(1.500000000)  can0   1aB#DE.aD", "(0000000001.500000) can0 1AB#DEAD ",
	} {
		var got wire.Line
		if err := got.Parse([]byte(text)); err != nil || !same(&got, &want) {
			t.Errorf("%s: %+v, %v", text, got, err)
		}
	}
}

func TestFaultsOfALine(t *testing.T) {
	const t0 = "(1700000000.000000) can0 " // 25 bytes
	for _, c := range []struct {
		text   string
		column int
		want   string
	}{
		{"can0  123  [2] DE AD", 1, "no line of a log, which begins as in (1700000000.123456) can0"},
		{"", 1, "no line"},
		{"(", 2, "the seconds of the time are missing"},
		{"(.5) can0 123#", 2, "the seconds of the time are missing"},
		{"(-1.5) can0 123#", 2, "the seconds of the time are missing"},
		{"(1) can0 123#", 3, "the time has no decimal point"},
		{"(1,5) can0 123#", 3, "the time has no decimal point"},
		{"(1.) can0 123#", 4, "the time has 0 decimals, 1 to 9 are read"},
		{"(1.1234567890) can0 123#", 14, "the time has 10 decimals"},
		{"(1.5 can0 123#", 5, "the time is not closed by )"},
		{"(2305843009.0) can0 123#", 12, "the time is beyond 2305843008 s"},
		{"(99999999999999999999999999.0) can0 123#", 28, "the time is beyond"},
		{"(1.5)can0 123#", 6, "a space and the name of an interface should follow the time"},
		{"(1.5) ", 7, "the name of an interface and a space should stand before the frame"},
		{"(1.5) can0", 11, "the name of an interface and a space"},
		{"(1.5) c\x00n0 123#", 8, "the name of an interface and a space"},
		{t0 + "12#DE", 26, "an identifier has 3 hexadecimal digits (11 bits) or 8 (29 bits), this has 2"},
		{t0 + "123456789#DE", 26, "this has 9"},
		{t0 + "45123#81:00:12345678#11223344.556677", 26, "this has 5"},
		{t0 + "800#DE", 26, "the identifier 0x800 has more than 11 bits"},
		{t0 + "40000000#DE", 26, "the identifier 0x40000000 has more than 29 bits"},
		{t0 + "A0000000#DE", 26, "more than 29 bits"},
		{t0 + "123", 29, "# should follow the identifier"},
		{t0 + "123 DEAD", 29, "# should follow the identifier"},
		{t0 + "123#DEA", 32, "a byte of data has two hexadecimal digits"},
		{t0 + "123#DEAG", 32, "a byte of data has two hexadecimal digits"},
		{t0 + "123#DEXX", 32, `"XX" stands where the line should end`},
		{t0 + "123#DE.", 33, "a byte of data should follow the point"},
		{t0 + "123#010203040506070809", 46, "more than 8 bytes of data"},
		{t0 + "123#R9", 31, "a remote frame asks for 0 to 8 bytes"},
		{t0 + "123#R4_9", 33, "a raw length code is 9 to F and follows 8 bytes"},
		{t0 + "123#0102030405060708_8", 47, "a raw length code is 9 to F"},
		{t0 + "123##", 31, "a digit of flags should follow ##"},
		{t0 + "123##X", 31, "'X' is no digit of flags"},
		{t0 + "123##1010203040506070809", 32, "9 bytes: CAN FD has 0 to 8, 12, 16, 20, 24, 32, 48 or 64 bytes"},
		{t0 + "123##1" + strings.Repeat("00", 65), 160, "more than 64 bytes of data"},
		{t0 + "123#DE R x", 35, `"x" stands where the line should end`},
		{t0 + "123#DE RT", 34, `"T" stands where the line should end`},
		{t0 + "123#DE " + strings.Repeat("x", 50), 33, `"` + strings.Repeat("x", 40) + `"… stands where the line should end`},
	} {
		var l wire.Line
		err := l.Parse([]byte(c.text))
		fault, inLine := errors.AsType[*wire.Fault](err)
		if !inLine || fault.Column != c.column || !strings.Contains(fault.Err.Error(), c.want) {
			t.Errorf("%s: %v, want column %d: %s", c.text, err, c.column, c.want)
		}
	}
}

// anyLine draws a line that there may be.
func anyLine(t *rapid.T) wire.Line {
	l := wire.Line{
		Nanos:     rapid.Int64Range(0, wire.MaxSeconds*1e9).Draw(t, "nanos"),
		Interface: []byte(rapid.StringMatching(`[!-~]{1,15}`).Draw(t, "interface")),
	}
	f := &l.Frame
	f.Extended, f.FD = rapid.Bool().Draw(t, "extended"), rapid.Bool().Draw(t, "fd")
	f.ID = rapid.Uint32Range(0, wire.MaxID).Draw(t, "id")
	if f.Extended {
		f.ID = rapid.Uint32Range(0, wire.MaxExtendedID).Draw(t, "id")
	}
	lengths := []uint8{0, 1, 2, 3, 4, 5, 6, 7, 8}
	if f.FD {
		lengths = append(lengths, 12, 16, 20, 24, 32, 48, 64)
		f.Flags = rapid.Uint8Range(0, 15).Draw(t, "flags")
	} else {
		f.Remote = rapid.Bool().Draw(t, "remote")
	}
	f.Length = rapid.SampledFrom(lengths).Draw(t, "length")
	if !f.FD && f.Length == 8 {
		f.Code = rapid.SampledFrom([]uint8{0, 9, 15}).Draw(t, "code")
	}
	if !f.Remote {
		copy(f.Data[:], rapid.SliceOfN(rapid.Byte(), int(f.Length), int(f.Length)).Draw(t, "data"))
	}
	return l
}

func TestLinesGoThereAndBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := anyLine(t)
		text := want.Append(nil)
		var got wire.Line
		if err := got.Parse(text); err != nil || !same(&got, &want) {
			t.Fatalf("%s: %+v, %v, want %+v", text, got, err, want)
		}
		var kernel wire.Frame
		if err := kernel.Decode(want.Frame.Encode(nil)); err != nil || kernel != want.Frame {
			t.Fatalf("%+v, %v, want %+v", kernel, err, want.Frame)
		}
	})
}

// TestAgainstAnotherImplementation holds classic frames against the text form of go.einride.tech/can v0.17.0, both ways.
func TestAgainstAnotherImplementation(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := rapid.Custom(anyLine).Filter(func(l wire.Line) bool { return !l.Frame.FD && l.Frame.Code == 0 }).Draw(t, "line")
		l.Interface = []byte("can0")
		text := string(l.Append(nil))
		text = text[strings.LastIndexByte(text, ' ')+1:]
		theirs := other.Frame{ID: l.Frame.ID, Length: l.Frame.Length, Data: other.Data(l.Frame.Data[:8]), IsRemote: l.Frame.Remote, IsExtended: l.Frame.Extended}
		if theirs.String() != text {
			t.Fatalf("%s, they write %s", text, theirs.String())
		}
		var read other.Frame
		if err := read.UnmarshalString(text); err != nil || read != theirs {
			t.Fatalf("%s: they read %+v, %v", text, read, err)
		}
	})
}

// TestAgainstCanUtils reads a log that asc2log of can-utils wrote, and finds what log2long of can-utils finds in it (testdata/can_utils.long).
func TestAgainstCanUtils(t *testing.T) {
	file, err := os.Open("testdata/can_utils.log")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	text, err := os.ReadFile("testdata/can_utils.long")
	if err != nil {
		t.Fatal(err)
	}
	want := strings.Split(strings.TrimSpace(string(text)), "\n")[1:]
	var got []string
	var l wire.Line
	for r := wire.NewReader(file, "log"); r.Next(&l) == nil; {
		got = append(got, inLong(&l))
	}
	if !slices.Equal(got, want) {
		t.Errorf("%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

// inLong writes a line as log2long does.
func inLong(l *wire.Line) string {
	f := &l.Frame
	id, length := fmt.Sprintf("%8s", fmt.Sprintf("%03X", f.ID)), fmt.Sprintf("  [%d]", f.Length)
	if f.Extended {
		id = fmt.Sprintf("%08X", f.ID)
	}
	data := fmt.Sprintf("  % X", f.Payload())
	switch {
	case f.Error:
		id, data = fmt.Sprintf("%08X", f.ID|1<<29), data+"   ERRORFRAME"
	case f.Remote:
		data = "  remote request"
	case f.FD:
		length = fmt.Sprintf(" [%02d]", f.Length)
	}
	text := fmt.Sprintf("(%010d.%06d)  %s  %s %s%s", l.Nanos/1e9, l.Nanos%1e9/1000, l.Interface, id, length, data)
	return strings.TrimRight(text, " ")
}

func TestParsingAllocatesNothing(t *testing.T) {
	texts := [][]byte{[]byte("(1700000000.123456) can0 123#DEADBEEF00112233"), fmt.Appendf(nil, "(1700000000.000000) can0 1ABCDEF0##1%X", long())}
	var l wire.Line
	if n := testing.AllocsPerRun(100, func() {
		for _, text := range texts {
			if err := l.Parse(text); err != nil {
				t.Fatal(err)
			}
		}
	}); n != 0 {
		t.Errorf("%v allocations", n)
	}
}

func FuzzParse(f *testing.F) {
	for _, text := range []string{"(1700000000.123456) can0 123#DEADBEEF", "(1.5) can0 18FF1234##1DE.AD R", "(1.5) c 123#R8_9 T", "(1.5) can0 20000004#0001000000000000", "(1.", "#"} {
		f.Add([]byte(text))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		var l, again wire.Line
		if err := l.Parse(text); err != nil {
			fault, inLine := errors.AsType[*wire.Fault](err)
			if !inLine || fault.Column < 1 || fault.Column > len(text)+1 {
				t.Fatalf("%v is not within %d bytes", err, len(text))
			}
			return
		}
		if l.Nanos < 0 || l.Frame.Length > wire.MaxBytes || !l.Frame.FD && l.Frame.Length > wire.MaxClassicBytes {
			t.Fatalf("%+v", l)
		}
		written := l.Append(nil)
		if err := again.Parse(written); err != nil || !same(&l, &again) {
			t.Fatalf("%q is written as %q: %v", text, written, err)
		}
	})
}
