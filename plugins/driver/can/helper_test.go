package can

import (
	"bytes"
	"context"
	"fmt"
	"log"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"go.uber.org/goleak"
	"google.golang.org/protobuf/proto"

	"github.com/ampledger/ampledger/plugins/driver/can/wire"
	"github.com/ampledger/ampledger/plugins/plugin"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// with is short for what stands under `with:`.
type with = map[string]any

// and gives settings with others in them.
func (d *described) and(more with) with {
	all := with{"messages": d.messages}
	maps.Copy(all, more)
	return all
}

// described are messages as settings.
type described struct{ messages []any }

// one describes a message with its signals, and message one more.
func one(id int, more with, signals ...with) *described {
	return (&described{}).message(id, more, signals...)
}

func (d *described) message(id int, more with, signals ...with) *described {
	all := with{"identifier": id, "byte_order": "little", "signals": list(signals)}
	maps.Copy(all, more)
	d.messages = append(d.messages, all)
	return d
}

func list(of []with) (out []any) {
	for _, w := range of {
		out = append(out, w)
	}
	return out
}

// signal describes a signed one of 16 bits, with what is changed.
func signal(name string, start int, more with) with {
	all := with{"name": name, "start_bit": start, "length": 16, "type": "signed", "unit": "A"}
	maps.Copy(all, more)
	return all
}

// logFile writes a log in a folder of its own.
func logFile(t testing.TB, lines ...string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "can.log")
	if err := os.WriteFile(path, []byte(strings.Join(lines, "\n")), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// at writes a line of a log: milliseconds after second 1000, and a frame.
func at(milliseconds int, frame string) string {
	return fmt.Sprintf("(%010d.%03d000) can0 %s", 1000+milliseconds/1000, milliseconds%1000, frame)
}

// heard is a driver that says what it says to a buffer.
func heard() (*Driver, *bytes.Buffer) {
	d, said := New(), &bytes.Buffer{}
	d.log = log.New(said, "", 0)
	return d, said
}

func configure(t testing.TB, d *Driver, settings with) (*plugin.Description, error) {
	t.Helper()
	from, err := plugin.NewSettings(settings)
	if err != nil {
		t.Fatal(err)
	}
	return d.Configure(t.Context(), "device", from)
}

func mustConfigure(t testing.TB, d *Driver, settings with) *plugin.Description {
	t.Helper()
	description, err := configure(t, d, settings)
	if err != nil {
		t.Fatal(err)
	}
	return description
}

// collect gives the frames of a stream and what ended it.
func collect(ctx context.Context, d *Driver) (frames []*plugin.Frame, err error) {
	err = d.Stream(ctx, func(f *plugin.Frame) error {
		frames = append(frames, proto.CloneOf(f))
		return nil
	})
	return frames, err
}

// play plays lines as fast as possible, and gives the scans as text, what standard error had, and what ended the stream.
func play(t testing.TB, d *described, more with, lines ...string) (scans, said string, err error) {
	t.Helper()
	settings := d.and(with{"log": logFile(t, lines...), "speed": 0})
	maps.Copy(settings, more)
	driver, buffer := heard()
	mustConfigure(t, driver, settings)
	frames, err := collect(t.Context(), driver)
	return scanned(frames), buffer.String(), err
}

// mustPlay is play without an error.
func mustPlay(t testing.TB, d *described, more with, lines ...string) (scans, said string) {
	t.Helper()
	scans, said, err := play(t, d, more, lines...)
	if err != nil {
		t.Fatal(err)
	}
	return scans, said
}

// scanned writes a line for each scan: its sequence, its time in ms after second 1000, and the values, - for one that is absent.
func scanned(frames []*plugin.Frame) string {
	var b strings.Builder
	for _, f := range frames {
		for i := range f.ScanCount {
			fmt.Fprintf(&b, "%d @%g:", f.FirstSequence+uint64(i), float64(f.FirstMonotonicNanos+f.OffsetNanos[i])/1e6-1e6)
			for _, c := range f.Columns {
				switch {
				case slices.Contains(c.AbsentIndices, i):
					b.WriteString(" -")
				case len(c.Codes) > 0:
					fmt.Fprintf(&b, " %d", c.Codes[i])
				default:
					fmt.Fprintf(&b, " %g", c.Values[i])
				}
			}
			b.WriteString("\n")
		}
	}
	return b.String()
}

// lines puts lines together as scanned does.
func lines(all ...string) string { return strings.Join(all, "\n") + "\n" }

// frameOf makes a frame with data.
func frameOf(id uint32, data ...byte) wire.Frame {
	f := wire.Frame{ID: id, Length: uint8(len(data)), FD: len(data) > wire.MaxClassicBytes}
	copy(f.Data[:], data)
	return f
}
