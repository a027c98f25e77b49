package iio

import (
	"context"
	"errors"
	"io"
	"log"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	"github.com/ampledger/ampledger/plugins/driver/iio/layout"
	"github.com/ampledger/ampledger/plugins/plugin"
)

type with = map[string]any

// tree makes folders and attributes below a new folder, the kernel's line ends included.
func tree(t testing.TB, attributes map[string]string) (root string) {
	t.Helper()
	root = t.TempDir()
	for name, text := range attributes {
		path := filepath.Join(root, "sys", name)
		if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text+"\n"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return root
}

// at gives the settings of a tree's device 0 and others.
func at(root string, more with) with {
	all := with{"device": 0, "sysfs": filepath.Join(root, "sys"), "dev": root}
	for key, value := range more {
		all[key] = value
	}
	return all
}

func buffered(more with) with {
	all := with{"mode": "buffered"}
	for key, value := range more {
		all[key] = value
	}
	return all
}

// read gives what an attribute of the tree's device 0 holds.
func read(t testing.TB, root, attribute string) string {
	t.Helper()
	text, err := folder(filepath.Join(root, "sys", "iio:device0")).text(attribute)
	if err != nil {
		t.Fatal(err)
	}
	return text
}

func quiet() *Driver {
	d := New()
	d.now = func() (int64, error) { return 0, nil }
	d.log = log.New(io.Discard, "", 0)
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

func mustConfigure(t testing.TB, d *Driver, settings with) *plugin.Description {
	t.Helper()
	description, err := configure(t, d, settings)
	if err != nil {
		t.Fatal(err)
	}
	return description
}

var errEnough = errors.New("enough")

// collect streams until a number of scans have come, and gives the frames, and the error if it ended before.
func collect(ctx context.Context, d *Driver, scans int) (frames []*plugin.Frame, err error) {
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

// sequences and times list those of all scans.
func sequences(frames []*plugin.Frame) (all []uint64) {
	for _, f := range frames {
		for i := range f.ScanCount {
			all = append(all, f.FirstSequence+uint64(i))
		}
	}
	return all
}

func times(frames []*plugin.Frame) (all []int64) {
	for _, f := range frames {
		for _, offset := range f.OffsetNanos {
			all = append(all, f.FirstMonotonicNanos+offset)
		}
	}
	return all
}

func codes(frames []*plugin.Frame, column int) (all []int32) {
	for _, f := range frames {
		all = append(all, f.Columns[column].Codes...)
	}
	return all
}

func values(frames []*plugin.Frame, column int) (all []float64) {
	for _, f := range frames {
		all = append(all, f.Columns[column].Values...)
	}
	return all
}

// stored is a value and how it lies in a scan.
type stored struct {
	text  string // the storage type
	value int64
}

// encode writes a scan bit by bit: each element at a multiple of its size, the scan a multiple of the longest; all other bits are ones.
func encode(t testing.TB, scan ...stored) (out []byte) {
	t.Helper()
	longest := 1
	pad := func(to int) {
		for len(out)%to != 0 {
			out = append(out, 0xff)
		}
	}
	for _, s := range scan {
		e, err := layout.ParseElement(s.text)
		if err != nil {
			t.Fatal(err)
		}
		size := e.StorageBits / 8
		longest = max(longest, size)
		pad(size)
		start := len(out)
		out = append(out, strings.Repeat("\xff", size)...)
		for bit := range e.Bits {
			place := e.Shift + bit // counted from the least significant
			at := start + place/8
			if e.BigEndian {
				at = start + size - 1 - place/8
			}
			if s.value>>bit&1 == 0 {
				out[at] &^= 1 << (place % 8)
			}
		}
	}
	pad(longest)
	return out
}
