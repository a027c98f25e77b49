package wire_test

import (
	"encoding/binary"
	"encoding/hex"
	"strings"
	"testing"

	other "go.einride.tech/can"
	"go.einride.tech/can/pkg/socketcan"
	"pgregory.net/rapid"

	"github.com/ampledger/ampledger/plugins/driver/can/wire"
)

// kernel makes the bytes of a frame by the drawing of struct can_frame and canfd_frame in Documentation/networking/can.rst.
func kernel(id uint32, length, flags byte, size int, data ...byte) []byte {
	b := make([]byte, size)
	binary.NativeEndian.PutUint32(b, id)
	b[4], b[5] = length, flags
	copy(b[8:], data)
	return b
}

func TestKernelFrames(t *testing.T) {
	for name, c := range map[string]struct {
		bytes []byte
		want  wire.Frame
	}{
		"11 bits":  {kernel(0x123, 2, 0, 16, 0xde, 0xad), frame(0x123, 0xde, 0xad)},
		"29 bits":  {kernel(0x80000000|0x18ff1234, 1, 0, 16, 1), with(frame(0x18ff1234, 1), extended)},
		"remote":   {kernel(0x40000123, 4, 0, 16), with(frame(0x123), func(f *wire.Frame) { f.Remote, f.Length = true, 4 })},
		"an error": {kernel(0x20000040, 8, 0, 16, 0, 4), with(frame(0x40, 0, 4, 0, 0, 0, 0, 0, 0), func(f *wire.Frame) { f.Error = true })},
		"CAN FD":   {kernel(0x80000123, 64, 5, 72, long()...), with(flexible(frame(0x123, long()...), 5), extended)},
	} {
		var got wire.Frame
		if err := got.Decode(c.bytes); err != nil || got != c.want {
			t.Errorf("%s: %+v, %v", name, got, err)
		}
		if back := c.want.Encode(nil); hex.EncodeToString(back) != hex.EncodeToString(c.bytes) {
			t.Errorf("%s: %x, want %x", name, back, c.bytes)
		}
	}
}

func TestKernelFramesThatAreNone(t *testing.T) {
	for want, bytes := range map[string][]byte{
		"15 bytes are no CAN frame, which has 16 or 72": make([]byte, 15),
		"0 bytes are no CAN frame":                      nil,
		"a CAN frame says it has 9 bytes of data":       kernel(1, 9, 0, 16),
		"a CAN frame says it has 65 bytes of data":      kernel(1, 65, 0, 72),
	} {
		var f wire.Frame
		if err := f.Decode(bytes); err == nil || !strings.HasPrefix(err.Error(), want) {
			t.Errorf("%v, want %s", err, want)
		}
	}
}

// TestKernelFramesOfAnotherImplementation takes the bytes that go.einride.tech/can v0.17.0 writes to a classic socket. It writes the identifier as
// little-endian machines have it.
func TestKernelFramesOfAnotherImplementation(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := rapid.Custom(anyLine).Filter(func(l wire.Line) bool { return !l.Frame.FD && l.Frame.Code == 0 }).Draw(t, "line")
		var theirs socketcan.Frame
		theirs.EncodeFrame(other.Frame{ID: l.Frame.ID, Length: l.Frame.Length, Data: other.Data(l.Frame.Data[:8]), IsRemote: l.Frame.Remote, IsExtended: l.Frame.Extended})
		bytes := make([]byte, 16)
		theirs.MarshalBinary(bytes)
		binary.NativeEndian.PutUint32(bytes, binary.LittleEndian.Uint32(bytes))
		var got wire.Frame
		if err := got.Decode(bytes); err != nil || got != l.Frame {
			t.Fatalf("%+v, %v, want %+v", got, err, l.Frame)
		}
	})
}

func FuzzDecode(f *testing.F) {
	f.Add(kernel(0x80000123, 8, 0, 16, 1, 2, 3, 4, 5, 6, 7, 8))
	f.Add(kernel(0x123, 64, 1, 72, long()...))
	f.Add([]byte{1, 2, 3})
	f.Fuzz(func(t *testing.T, bytes []byte) {
		var frame, again wire.Frame
		if frame.Decode(bytes) != nil {
			return
		}
		if len(frame.Payload()) > len(bytes)-8 || frame.ID > wire.MaxExtendedID {
			t.Fatalf("%x gave %+v", bytes, frame)
		}
		if err := again.Decode(frame.Encode(nil)); err != nil || again != frame {
			t.Fatalf("%x gave %+v, and then %+v, %v", bytes, frame, again, err)
		}
	})
}
