package iio

import (
	"context"
	"errors"
	"testing"
	"time"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// endless gives the same scans again and again, as many readings as it is allowed.
type endless struct {
	block []byte
	left  int
}

var errUsedUp = errors.New("no more readings")

func (e *endless) Read(to []byte) (int, error) {
	if e.left--; e.left < 0 {
		return 0, errUsedUp
	}
	return copy(to, e.block), nil
}

func (*endless) SetReadDeadline(time.Time) error { return nil }

const benchScans = 500

// benchReader reads a channel of 12 and one of 24 bits, a temperature and a time stamp.
func benchReader(tb testing.TB) (*reader, *endless) {
	root := tree(tb, converter())
	d := quiet()
	mustConfigure(tb, d, at(root, buffered(nil)))
	from := &endless{}
	for i := range int64(benchScans) {
		scan := encode(tb, stored{"le:s12/16>>4", i}, stored{"be:u24/32>>8", i}, stored{"le:s16/16>>0", i}, stored{"le:s64/64>>0", i * 1e6})
		from.block = append(from.block, scan...)
	}
	return newReader(d, from, func(*plugin.Frame) error { return nil }), from
}

func TestReadingAllocatesNothing(t *testing.T) {
	r, from := benchReader(t)
	ctx := context.Background()
	readings := func() {
		from.left = 10
		if err := r.run(ctx); !errors.Is(err, errUsedUp) {
			t.Fatal(err)
		}
	}
	if allocs := testing.AllocsPerRun(100, readings); allocs != 0 {
		t.Errorf("%v allocations in 10 readings of %d scans", allocs, benchScans)
	}
	if want := uint64(101 * 10 * benchScans); r.timeline.sequence != want {
		t.Errorf("%d scans, want %d", r.timeline.sequence, want)
	}
}

func TestScansBeforeAFaultGoOut(t *testing.T) {
	r, from := benchReader(t)
	from.block, from.left = from.block[:3*r.plan.buffer.scanBytes], 1 // fewer than are worth waking up for
	scans := uint32(0)
	r.emit = func(f *plugin.Frame) error {
		scans += f.ScanCount
		return nil
	}
	if err := r.run(t.Context()); !errors.Is(err, errUsedUp) || scans != 3 {
		t.Errorf("%d scans, %v", scans, err)
	}
}

// BenchmarkRead makes frames of scans, beside a copy of the same bytes.
func BenchmarkRead(b *testing.B) {
	r, from := benchReader(b)
	b.Run("frames", func(b *testing.B) {
		b.ReportAllocs()
		from.left = b.N
		if err := r.run(context.Background()); !errors.Is(err, errUsedUp) {
			b.Fatal(err)
		}
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*benchScans), "ns/scan")
	})
	b.Run("copy", func(b *testing.B) {
		to := make([]byte, len(from.block))
		for b.Loop() {
			copy(to, from.block)
		}
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*benchScans), "ns/scan")
	})
}
