package rig

import (
	"math"
	"testing"

	"google.golang.org/protobuf/proto"

	"github.com/ampledger/ampledger/daemon/scan"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// two is a device of two inputs, code and meter.
func two(mode string) *Source {
	return New("bench", map[string]any{"mode": mode, "inputs": inputs(map[string]any{"name": "code", "unit": "code"}, map[string]any{"name": "meter", "unit": "A"})})
}

// seated gives a seat at an open device.
func seated(t testing.TB, s *Source) *Seat {
	t.Helper()
	if _, err := s.Frames(t.Context()); err != nil {
		t.Fatal(err)
	}
	seat, err := s.Attach(t.Context(), Session{"alpha", "one"})
	if err != nil {
		t.Fatal(err)
	}
	return seat
}

func framed(first uint64, scans int) *Frame {
	return &Frame{
		FirstSequence: first, FirstMonotonicNanos: int64(first) * 1000, PeriodNanos: 1000, ScanCount: uint32(scans),
		Columns: []*ampledgerv1.FeedColumn{{Codes: make([]int32, scans)}, {Values: make([]float64, scans)}},
	}
}

func TestMarksBecomeFlags(t *testing.T) {
	seat := seated(t, two("live"))
	frame := framed(3, 4)
	frame.Columns[1].Values = []float64{7} // for the whole frame
	frame.Marks = []*Mark{
		{FirstIndex: 1, ScanCount: 2, QualityBits: uint32(scan.Missing)}, {Input: "meter", FirstIndex: 2, ScanCount: 2, QualityBits: uint32(scan.Saturated | scan.NotFinite)},
	}
	var f scan.Frame
	if err := seat.decode(frame, &f); err != nil {
		t.Fatal(err)
	}
	for k, want := range [][2]scan.Quality{{}, {scan.Missing, scan.Missing}, {scan.Missing, scan.Missing | scan.Saturated | scan.NotFinite}, {0, scan.Saturated | scan.NotFinite}} {
		if got := [2]scan.Quality{f.Columns[0].FlagAt(k), f.Columns[1].FlagAt(k)}; got != want {
			t.Errorf("scan %d: flags %v, want %v", k, got, want)
		}
	}
	if err := seat.decode(framed(7, 4), &f); err != nil || f.Columns[0].Flags != nil || f.Columns[1].Flags != nil {
		t.Errorf("the frame after has flags %v, %v (%v)", f.Columns[0].Flags, f.Columns[1].Flags, err)
	}
}

func TestLabels(t *testing.T) {
	wall := int64(5)
	said := framed(3, 1)
	said.FirstWallNanos = &wall
	for _, mode := range []string{"live", "lockstep"} {
		s := two(mode)
		if got := s.label(said); got != 5 {
			t.Errorf("%s: what the rig said is %d", mode, got)
		}
		if got := s.label(framed(3, 1)); mode == "lockstep" && got != 3000 || mode == "live" && got < 1.6e18 {
			t.Errorf("%s: what the rig did not say is %d", mode, got)
		}
	}
}

// TestDecodeAllocatesNothing holds a frame with marks to no allocation once there was one like it.
func TestDecodeAllocatesNothing(t *testing.T) {
	seat := seated(t, two("lockstep"))
	frame := framed(0, 1000)
	frame.Marks = []*Mark{{FirstIndex: 1, ScanCount: 2, QualityBits: 1}}
	var f scan.Frame
	if n := testing.AllocsPerRun(100, func() {
		if err := seat.decode(frame, &f); err != nil {
			t.Fatal(err)
		}
		frame.FirstSequence += 1000
	}); n != 0 {
		t.Errorf("%v allocations", n)
	}
}

// FuzzDecode decodes two frames: whatever they are, they are refused or come out well formed.
func FuzzDecode(f *testing.F) {
	f.Fuzz(func(t *testing.T, first, second []byte) {
		seat := seated(t, two("lockstep"))
		var to scan.Frame
		for _, text := range [][]byte{first, second} {
			var frame Frame
			if proto.Unmarshal(text, &frame) != nil || seat.decode(&frame, &to) != nil {
				return
			}
			checkFormed(t, &to)
		}
	})
}

// checkFormed holds a frame to what the stages rely on.
func checkFormed(t *testing.T, f *scan.Frame) {
	t.Helper()
	if f.Count < 1 || f.Count > MaxScans || len(f.Columns) != 2 || f.Sequence > math.MaxInt64 || f.Flags != nil {
		t.Fatalf("%+v", f)
	}
	for _, c := range f.Columns {
		if n := len(c.Values); n != 1 && n != f.Count {
			t.Fatalf("%d values of %d scans", n, f.Count)
		}
		if n := len(c.Flags); c.Flags != nil && n != f.Count {
			t.Fatalf("%d flags of %d scans", n, f.Count)
		}
		for k := range f.Count {
			c.At(k)
			if c.FlagAt(k)&^markable != 0 {
				t.Fatalf("flags %v", c.FlagAt(k))
			}
			f.WallAt(k)
		}
	}
}
