package wire_test

import (
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/ampledger/ampledger/plugins/driver/can/wire"
)

// readAll gives the identifiers of a log's frames, and what ended it.
func readAll(in io.Reader) (ids []uint32, err error) {
	r := wire.NewReader(in, "f.log")
	var l wire.Line
	for {
		if err = r.Next(&l); err != nil {
			return ids, err
		}
		ids = append(ids, l.Frame.ID)
	}
}

func TestReaderPassesOverWhatIsNoLine(t *testing.T) {
	text := "# a comment\n\n(1.5) can0 001#\r\n   \n  # another\n(1.5) can0 002#\n(1.5) can0 003#"
	for name, in := range map[string]io.Reader{"at once": strings.NewReader(text), "byte by byte": iotest.OneByteReader(strings.NewReader(text))} {
		if ids, err := readAll(in); fmt.Sprint(ids) != "[1 2 3]" || !errors.Is(err, io.EOF) {
			t.Errorf("%s: %v, %v", name, ids, err)
		}
	}
}

func TestReaderGivesThePlaceOfAFault(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"(1.5) can0 001#\n# x\n(1.5) can0 002#1\n", "f.log:3:16: a byte of data has two hexadecimal digits"},
		{"nonsense\n", "f.log:1:1: no line of a log, which begins as in (1700000000.123456) can0"},
		{"\n" + strings.Repeat("x", wire.MaxLine+1) + "\n", "f.log:2: the line is longer than 4096 bytes"},
	} {
		_, err := readAll(strings.NewReader(c.text))
		if err == nil || err.Error() != c.want {
			t.Errorf("%v, want %s", err, c.want)
		}
	}
	broken := io.MultiReader(strings.NewReader("(1.5) can0 001#\n"), iotest.ErrReader(io.ErrUnexpectedEOF))
	if ids, err := readAll(broken); len(ids) != 1 || !errors.Is(err, io.ErrUnexpectedEOF) || !strings.HasPrefix(err.Error(), "f.log:2: ") {
		t.Errorf("%d, %v", ids, err)
	}
}

func TestNames(t *testing.T) {
	if a, b := wire.Name(0x12, false), wire.Name(0x12, true); a != "0x012" || b != "0x00000012" {
		t.Error(a, b)
	}
}
