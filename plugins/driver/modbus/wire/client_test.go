package wire

import (
	"bytes"
	"errors"
	"io"
	"os"
	"testing"
	"time"

	"pgregory.net/rapid"

	"github.com/ampledger/ampledger/plugins/driver/modbus/modbustest"
)

// played is a connection that gives bytes, some at a time, and then what a line gives on which nothing comes any more.
type played struct {
	sent  bytes.Buffer
	bytes []byte
	most  int // bytes at a time; 0 = all
	end   error
}

func (p *played) Read(to []byte) (int, error) {
	if len(p.bytes) == 0 {
		return 0, p.end
	}
	n := len(p.bytes)
	if p.most > 0 {
		n = min(n, p.most)
	}
	n = copy(to, p.bytes[:n])
	p.bytes = p.bytes[n:]
	return n, nil
}

func (p *played) Write(b []byte) (int, error) { return p.sent.Write(b) }
func (*played) SetDeadline(time.Time) error   { return nil }
func (*played) Close() error                  { return nil }
func overTCP(answer ...byte) *Client          { return NewTCP(&played{bytes: answer, end: io.EOF}, time.Second) }
func overRTU(answer ...byte) *Client          { return NewRTU(silent(answer), 9600, time.Second) }
func silent(answer []byte) *played            { return &played{bytes: answer, end: os.ErrDeadlineExceeded} }
func joined(parts ...[]byte) []byte           { return bytes.Join(parts, nil) }
func mbapOf(transaction byte, body ...byte) []byte {
	return append([]byte{0, transaction, 0, 0, 0, byte(len(body))}, body...)
}

// two asks server 17 for two registers.
var two = Request{Server: 17, Function: Holding, Address: 107, Count: 2}

// TestRequests has the example of the specification (V1.1b3, 6.3: registers 108 to 110 by their numbers from 1), framed in both ways. The
// checksum 7687 of 11 03 006B 0003 is that of most descriptions of the protocol, from memory.
func TestRequests(t *testing.T) {
	three := Request{Server: 17, Function: Holding, Address: 107, Count: 3}
	answer := []byte{17, 3, 6, 0x02, 0x2b, 0, 0, 0, 0x64}
	for name, c := range map[string]struct {
		answer []byte
		make   func(Connection) *Client
		sent   string
	}{
		"tcp": {mbapOf(1, answer...), func(c Connection) *Client { return NewTCP(c, time.Second) }, "\x00\x01\x00\x00\x00\x06\x11\x03\x00\x6b\x00\x03"},
		"rtu": {modbustest.Sealed(answer...), func(c Connection) *Client { return NewRTU(c, 9600, time.Second) }, "\x11\x03\x00\x6b\x00\x03\x76\x87"},
	} {
		for most := range 5 {
			connection := &played{bytes: bytes.Clone(c.answer), most: most, end: os.ErrDeadlineExceeded}
			registers, err := c.make(connection).Read(three)
			if err != nil || string(registers) != "\x02\x2b\x00\x00\x00\x64" || connection.sent.String() != c.sent {
				t.Errorf("%s, %d at a time: % x, %v; sent % x", name, most, registers, err, connection.sent.Bytes())
			}
		}
	}
}

func TestAnswers(t *testing.T) {
	good := []byte{17, 3, 4, 1, 2, 3, 4}
	for _, c := range []struct {
		name   string
		client *Client
		want   error
	}{
		{"tcp", overTCP(mbapOf(1, good...)...), nil},
		{"tcp, late ones before", overTCP(joined(mbapOf(0, 17, 3, 4, 9, 9, 9, 9), mbapOf(250, 9, 0x83, 1), mbapOf(1, good...))...), nil},
		{"tcp, exception", overTCP(mbapOf(1, 17, 0x83, 6)...), Exception(6)},
		{"tcp, another server", overTCP(mbapOf(1, 18, 3, 4, 1, 2, 3, 4)...), ErrForeign},
		{"tcp, another function", overTCP(mbapOf(1, 17, 4, 4, 1, 2, 3, 4)...), ErrNonsense},
		{"tcp, exception of another", overTCP(mbapOf(1, 17, 0x84, 6)...), ErrNonsense},
		{"tcp, exception too long", overTCP(mbapOf(1, 17, 0x83, 6, 6)...), ErrNonsense},
		{"tcp, too few", overTCP(mbapOf(1, 17, 3, 2, 1, 2)...), ErrNonsense},
		{"tcp, too many", overTCP(mbapOf(1, 17, 3, 6, 1, 2, 3, 4, 5, 6)...), ErrNonsense},
		{"tcp, count of its own", overTCP(mbapOf(1, 17, 3, 5, 1, 2, 3, 4)...), ErrNonsense},
		{"tcp, nothing in it", overTCP(mbapOf(1, 17)...), ErrNonsense},
		{"tcp, longer than any", overTCP(0, 1, 0, 0, 1, 0, 17, 3), ErrNonsense},
		{"tcp, another protocol", overTCP([]byte("HTTP/1.1 400 Bad Request")...), ErrNonsense},
		{"tcp, half", overTCP(mbapOf(1, good...)[:9]...), io.ErrUnexpectedEOF},
		{"tcp, none", overTCP(), io.EOF},
		{"rtu", overRTU(modbustest.Sealed(good...)...), nil},
		{"rtu, exception", overRTU(modbustest.Sealed(17, 0x83, 2)...), Exception(2)},
		{"rtu, another server", overRTU(modbustest.Sealed(18, 3, 4, 1, 2, 3, 4)...), ErrForeign},
		{"rtu, another function", overRTU(modbustest.Sealed(17, 4, 4, 1, 2, 3, 4)...), ErrNonsense},
		{"rtu, too many", overRTU(modbustest.Sealed(17, 3, 6, 1, 2, 3, 4, 5, 6)...), ErrNonsense},
		{"rtu, checksum", overRTU(17, 3, 4, 1, 2, 3, 4, 5, 6), ErrDamaged},
		{"rtu, twice", overRTU(joined(modbustest.Sealed(good...), modbustest.Sealed(good...))...), ErrDamaged},
		{"rtu, half", overRTU(modbustest.Sealed(good...)[:6]...), ErrDamaged},
		{"rtu, none", overRTU(), os.ErrDeadlineExceeded},
		{"rtu, longer than any", overRTU(bytes.Repeat([]byte{17, 3, 255}, 200)...), ErrDamaged},
	} {
		registers, err := c.client.Read(two)
		if !errors.Is(err, c.want) || (err == nil) != (string(registers) == "\x01\x02\x03\x04") {
			t.Errorf("%s: % x, %v, want %v", c.name, registers, err, c.want)
		}
	}
}

// TestPrepareDiscards what came unasked on a line, and refuses one that is never silent.
func TestPrepareDiscards(t *testing.T) {
	connection := silent([]byte("left over"))
	if err := NewRTU(connection, 9600, time.Second).Prepare(); err != nil || len(connection.bytes) != 0 {
		t.Errorf("%q is left, %v", connection.bytes, err)
	}
	babble := &played{bytes: make([]byte, 1<<20), most: 1}
	if err := NewRTU(babble, 9600, time.Millisecond).Prepare(); !errors.Is(err, ErrDamaged) {
		t.Error(err)
	}
	gone := &played{end: io.EOF}
	if err := NewRTU(gone, 9600, time.Second).Prepare(); !errors.Is(err, io.EOF) {
		t.Error(err)
	}
}

func TestSilence(t *testing.T) {
	for speed, want := range map[int]time.Duration{1200: 32083333, 9600: 4010416, 19200: 2005208, 38400: 1750000, 921600: 1750000} {
		if got := silence(speed); got != want {
			t.Errorf("%d bit/s: %v, want %v", speed, got, want)
		}
	}
}

func TestChecksumIsTheOneBitByBit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		frame := rapid.SliceOf(rapid.Byte()).Draw(t, "frame")
		if got, want := checksum(frame), modbustest.Checksum(frame); got != want {
			t.Errorf("%04x, want %04x", got, want)
		}
	})
}

func TestExceptionsHaveNames(t *testing.T) {
	for code, want := range map[Exception]string{
		1: "exception 01, ILLEGAL FUNCTION", 2: "exception 02, ILLEGAL DATA ADDRESS", 3: "exception 03, ILLEGAL DATA VALUE",
		4: "exception 04, SERVER DEVICE FAILURE", 5: "exception 05, ACKNOWLEDGE", 6: "exception 06, SERVER DEVICE BUSY", 8: "exception 08, MEMORY PARITY ERROR",
		10: "exception 0A, GATEWAY PATH UNAVAILABLE", 11: "exception 0B, GATEWAY TARGET DEVICE FAILED TO RESPOND", 7: "exception 07, which the standard does not have",
	} {
		if got := code.Error(); got != want {
			t.Errorf("%s, want %s", got, want)
		}
	}
}

func TestReadingAllocatesNothing(t *testing.T) {
	for name, again := range map[string]func() *Client{
		"tcp": func() *Client { return overTCP() }, "rtu": func() *Client { return overRTU() },
	} {
		c, answer := again(), modbustest.Sealed(17, 3, 4, 1, 2, 3, 4)
		if name == "tcp" {
			answer = mbapOf(1, 17, 3, 4, 1, 2, 3, 4)
		}
		connection := c.connection.(*played)
		read := func() {
			if m, ok := c.framing.(*mbap); ok {
				m.transaction = 0
			}
			connection.bytes = answer
			connection.sent.Reset()
			if _, err := c.Read(two); err != nil {
				t.Fatal(err)
			}
		}
		if allocs := testing.AllocsPerRun(100, read); allocs != 0 {
			t.Errorf("%s: %v allocations", name, allocs)
		}
	}
}

// FuzzAnswer gives a client whatever bytes. What it takes for an answer must be one, whole and alone.
func FuzzAnswer(f *testing.F) {
	f.Add(true, byte(0), mbapOf(1, 17, 3, 4, 1, 2, 3, 4))
	f.Add(true, byte(3), joined(mbapOf(9, 17, 3, 4, 9, 9, 9, 9), mbapOf(1, 17, 3, 4, 1, 2, 3, 4)))
	f.Add(true, byte(0), mbapOf(1, 17, 0x83, 11))
	f.Add(false, byte(0), modbustest.Sealed(17, 3, 4, 1, 2, 3, 4))
	f.Add(false, byte(2), modbustest.Sealed(17, 0x83, 2))
	f.Add(false, byte(0), joined(modbustest.Sealed(17, 3, 4, 1, 2, 3, 4), modbustest.Sealed(17, 3, 4, 5, 6, 7, 8)))
	f.Fuzz(func(t *testing.T, tcp bool, most byte, answer []byte) {
		client := NewRTU(&played{bytes: bytes.Clone(answer), most: int(most), end: os.ErrDeadlineExceeded}, 9600, time.Second)
		framed := func(registers []byte) []byte { return modbustest.Sealed(append([]byte{17, 3, 4}, registers...)...) }
		if tcp {
			client = NewTCP(&played{bytes: bytes.Clone(answer), most: int(most), end: io.EOF}, time.Second)
			framed = func(registers []byte) []byte { return mbapOf(1, append([]byte{17, 3, 4}, registers...)...) }
		}
		registers, err := client.Read(two)
		if err != nil {
			return
		}
		if want := framed(registers); len(registers) != 4 || !bytes.Contains(answer, want) || !tcp && most == 0 && !bytes.Equal(answer, want) {
			t.Errorf("% x of % x", registers, answer)
		}
	})
}
