package pluginhost

import (
	"fmt"
	"math"
	"testing"

	"google.golang.org/protobuf/proto"

	"github.com/ampledger/ampledger/daemon/scan"
	"github.com/ampledger/ampledger/plugins/plugin"
)

func decoderOf(inputs int) *Decoder {
	var described []*plugin.Input
	for k := range inputs {
		described = append(described, &plugin.Input{Name: fmt.Sprint(k), Unit: "A"})
	}
	return NewDecoder(described)
}

// FuzzAccept decodes two frames of a device of two inputs: whatever they are, they are refused or come out well formed.
func FuzzAccept(f *testing.F) {
	f.Fuzz(func(t *testing.T, first, second []byte) {
		s := decoderOf(2)
		var out scan.Frame
		var due uint64
		for _, text := range [][]byte{first, second} {
			var wire plugin.Frame
			if proto.Unmarshal(text, &wire) != nil || s.Decode(&wire, &out) != nil {
				return
			}
			if out.Sequence < due {
				t.Fatalf("sequence %d, %d was due", out.Sequence, due)
			}
			due = out.Sequence + uint64(out.Count)
			if err := wellFormed(&out, 2); err != nil {
				t.Fatalf("%v: %v", err, &wire)
			}
		}
	})
}

// wellFormed says what the stages may rely on.
func wellFormed(f *scan.Frame, inputs int) error {
	switch {
	case f.Count < 1 || f.Count > MaxScans:
		return fmt.Errorf("%d scans", f.Count)
	case len(f.Columns) != inputs:
		return fmt.Errorf("%d columns", len(f.Columns))
	case f.Sequence+uint64(f.Count) < f.Sequence || f.Sequence > math.MaxInt64:
		return fmt.Errorf("sequence %d", f.Sequence)
	case f.Period < 0 || f.Period == 0 && len(f.Offsets) != f.Count || f.Period > 0 && f.Offsets != nil:
		return fmt.Errorf("period %d with %d offsets", f.Period, len(f.Offsets))
	}
	if f.Uncertainty < 0 || f.Uncertainty > math.MaxInt64/2 {
		return fmt.Errorf("uncertainty %d ns of the time", f.Uncertainty)
	}
	for k := range f.Count {
		if at := float64(f.Monotonic) + float64(k)*float64(f.Period); f.Period > 0 && math.Abs(at-float64(f.At(k))) > 1e4 {
			return fmt.Errorf("scan %d is at %d, want about %g", k, f.At(k), at)
		}
		f.WallAt(k)
	}
	for i := range f.Columns {
		c := &f.Columns[i]
		if n := len(c.Values); n != 1 && n != f.Count || c.Flags != nil && len(c.Flags) != n {
			return fmt.Errorf("column %d of %d values and %d flags", i, n, len(c.Flags))
		}
		c.At(f.Count - 1)
		c.FlagAt(f.Count - 1)
	}
	return nil
}

func TestAcceptGoesOnAfterAFrame(t *testing.T) {
	s := decoderOf(1)
	var f scan.Frame
	codes := &plugin.Frame{ScanCount: 2, PeriodNanos: 1, TimeUncertaintyNanos: 9, Columns: []*plugin.Column{{Codes: []int32{-7, math.MaxInt32}}}}
	if err := s.Decode(codes, &f); err != nil || f.Columns[0].Values[1] != math.MaxInt32 || f.Uncertainty != 9 {
		t.Fatal(err, f)
	}
	codes.FirstSequence, codes.Columns[0].Codes = 2, []int32{3}
	if err := s.Decode(codes, &f); err != nil || len(f.Columns[0].Values) != 1 || f.Columns[0].Values[0] != 3 {
		t.Fatal(err, f)
	}
	if err := s.Decode(codes, &f); err == nil {
		t.Error("the same frame twice")
	}
}

func BenchmarkAccept(b *testing.B) {
	for name, column := range map[string]*plugin.Column{
		"values": {Values: make([]float64, 1000)}, "codes": {Codes: make([]int32, 1000)},
	} {
		b.Run(name, func(b *testing.B) {
			s := decoderOf(1)
			var f scan.Frame
			wire := &plugin.Frame{ScanCount: 1000, PeriodNanos: 1, Columns: []*plugin.Column{column}}
			b.ReportAllocs()
			for b.Loop() {
				if err := s.Decode(wire, &f); err != nil {
					b.Fatal(err)
				}
				wire.FirstSequence += 1000
			}
		})
	}
}
