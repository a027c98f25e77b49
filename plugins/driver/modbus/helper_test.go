package modbus

import (
	"context"
	"encoding/binary"
	"errors"
	"io"
	"log"
	"net"
	"sync"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	"github.com/ampledger/ampledger/plugins/driver/internal/boottime"
	"github.com/ampledger/ampledger/plugins/plugin"
)

type with = map[string]any

// request is what a server is asked.
type request struct {
	unit           byte
	function       byte
	address, count int
}

// reply is how a server takes it: after a time, with registers, with an exception, not at all, by hanging up, or with bytes of its own.
type reply struct {
	after     time.Duration
	registers []byte
	exception byte
	silent    bool
	hangUp    bool
	raw       []byte // the whole answer, header included
}

// pdu gives the answer without what frames it.
func (r reply) pdu(to request) []byte {
	if r.exception != 0 {
		return []byte{to.function | 0x80, r.exception}
	}
	return append([]byte{to.function, byte(len(r.registers))}, r.registers...)
}

func parseRequest(unit byte, pdu []byte) request {
	return request{unit, pdu[0], int(binary.BigEndian.Uint16(pdu[1:])), int(binary.BigEndian.Uint16(pdu[3:]))}
}

// serveTCP answers connections on loopback, one at a time, until the test ends, and gives the address.
func serveTCP(t testing.TB, answer func(request) reply) string {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	var serving sync.WaitGroup
	ended := make(chan struct{})
	serving.Go(func() {
		for {
			connection, err := listener.Accept()
			if err != nil {
				return
			}
			stop := context.AfterFunc(t.Context(), func() { connection.Close() })
			converse(connection, answer, ended)
			stop()
			connection.Close()
		}
	})
	t.Cleanup(func() {
		close(ended)
		listener.Close()
		serving.Wait()
	})
	return listener.Addr().String()
}

// converse answers until the connection ends, which a test that has ended does to it.
func converse(connection net.Conn, answer func(request) reply, ended <-chan struct{}) {
	head := make([]byte, 7)
	for {
		if _, err := io.ReadFull(connection, head); err != nil {
			return
		}
		pdu := make([]byte, binary.BigEndian.Uint16(head[4:])-1)
		if _, err := io.ReadFull(connection, pdu); err != nil {
			return
		}
		to := parseRequest(head[6], pdu)
		r := answer(to)
		select {
		case <-time.After(r.after):
		case <-ended:
			return
		}
		if r.hangUp {
			return
		}
		if r.silent {
			continue
		}
		body := r.pdu(to)
		out := binary.BigEndian.AppendUint16(append([]byte{}, head[:4]...), uint16(1+len(body)))
		out = append(append(out, head[6]), body...)
		if r.raw != nil {
			out = r.raw
		}
		if _, err := connection.Write(out); err != nil {
			return
		}
	}
}

// memory answers from one table of registers, each holding its own address.
func memory(r request) reply {
	var registers []byte
	for i := range r.count {
		registers = binary.BigEndian.AppendUint16(registers, uint16(r.address+i))
	}
	return reply{registers: registers}
}

func quiet() *Driver {
	d := New()
	d.log = log.New(io.Discard, "", 0)
	d.chance = func() float64 { return 1 }
	return d
}

func configure(t testing.TB, d *Driver, settings with) (*plugin.Description, error) {
	t.Helper()
	from, err := plugin.NewSettings(settings)
	if err != nil {
		t.Fatal(err)
	}
	return d.Configure(t.Context(), "d", from)
}

func configured(t testing.TB, d *Driver, settings with) *Driver {
	t.Helper()
	if _, err := configure(t, d, settings); err != nil {
		t.Fatal(err)
	}
	return d
}

// amperes is an input of 16 bits.
func amperes(name string, address int, more with) with {
	in := with{"name": name, "address": address, "type": "int16", "unit": "A", "averaging": false}
	for key, value := range more {
		in[key] = value
	}
	return in
}

func readOf(server int, inputs ...any) with {
	return with{"server": server, "registers": "holding", "inputs": inputs}
}

func at(address string, reads ...any) with {
	return with{"tcp": address, "rate_hertz": 200, "timeout_seconds": 0.2, "reads": reads}
}

var errEnough = errors.New("enough")

// collect streams until a number of scans have come, and gives the frames.
func collect(t testing.TB, d *Driver, scans int) (frames []*plugin.Frame, err error) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	err = d.Stream(ctx, func(f *plugin.Frame) error {
		frames = append(frames, proto.CloneOf(f))
		if scans -= int(f.ScanCount); scans <= 0 {
			return errEnough
		}
		return nil
	})
	if errors.Is(err, errEnough) {
		err = nil
	}
	return frames, err
}

func mustCollect(t testing.TB, d *Driver, scans int) []*plugin.Frame {
	t.Helper()
	frames, err := collect(t, d, scans)
	if err != nil {
		t.Fatal(err)
	}
	return frames
}

// point is a scan of a column.
type point struct {
	sequence uint64
	at       int64
	value    float64
	absent   bool
}

// points lists a column.
func points(frames []*plugin.Frame, column int) (all []point) {
	for _, f := range frames {
		c := f.Columns[column]
		for i := range int(f.ScanCount) {
			p := point{sequence: f.FirstSequence + uint64(i), at: f.FirstMonotonicNanos + f.OffsetNanos[i]}
			if len(c.Codes) > 0 {
				p.value = float64(c.Codes[i])
			} else {
				p.value = c.Values[i]
			}
			for _, index := range c.AbsentIndices {
				p.absent = p.absent || int(index) == i
			}
			all = append(all, p)
		}
	}
	return all
}

// hasty makes a driver's clock go twenty times as fast, so that its patience is soon over.
func hasty(t *testing.T, d *Driver) *Driver {
	begun, err := boottime.Nanos()
	if err != nil {
		t.Fatal(err)
	}
	d.now = func() (int64, error) {
		now, err := boottime.Nanos()
		return begun + 20*(now-begun), err
	}
	return d
}
