package service

import (
	"math"
	"testing"

	"google.golang.org/grpc/mem"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"
	"pgregory.net/rapid"

	"github.com/google/go-cmp/cmp"

	"github.com/ampledger/ampledger/daemon/scan"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// drawReadings gives readings of any kind that the stages can make.
func drawReadings(t *rapid.T) *scan.Readings {
	n := rapid.IntRange(1, 40).Draw(t, "readings")
	r := &scan.Readings{
		Clock: scan.Clock{
			Epoch: 1, Sequence: rapid.Uint64Range(0, 1<<62).Draw(t, "sequence"), Wall: rapid.Int64Range(0, 1<<62).Draw(t, "wall"),
			Monotonic: rapid.Int64Range(-1<<60, 1<<60).Draw(t, "monotonic"), Period: rapid.Int64Range(0, 1e9).Draw(t, "period"),
		},
		Amperes: rapid.SliceOfN(rapid.Float64(), n, n).Draw(t, "amperes"), Raw: rapid.SliceOfN(rapid.Float64(), n, n).Draw(t, "raw"),
		NoiseAmperes: 0.1, ZeroAmperes: 0.2, GainRatio: 0.3,
		Estimate: scan.Estimate{Offset: 0.4, Age: rapid.Int64Range(-1, 1e12).Draw(t, "age"), Estimator: "fixedzero", Generation: 3},
	}
	if r.Period == 0 {
		// As after a cut: relative to a scan before the first one.
		r.Offsets = rapid.SliceOfN(rapid.Int64Range(-1e9, 1e12), n, n).Draw(t, "offsets")
	}
	if rapid.Bool().Draw(t, "faulty") {
		for range n {
			q := scan.Quality(rapid.SampledFrom([]int{0, 0, 1, 4, 127}).Draw(t, "quality"))
			r.Quality, r.Causes = append(r.Quality, q), r.Causes|q
		}
		if r.Causes == 0 {
			r.Quality = nil
		}
	}
	return r
}

// slowFrame is the message for readings, made the obvious way.
func slowFrame(conductor, channel string, r *scan.Readings) *ampledgerv1.Frame {
	f := &ampledgerv1.Frame{
		Conductor: conductor, Channel: channel, FirstSequence: r.Sequence, FirstWallNanos: r.WallAt(0), FirstMonotonicNanos: r.At(0),
		PeriodNanos: r.Period, CurrentAmperes: r.Amperes, RawValues: r.Raw,
		NoiseAmperes: r.NoiseAmperes, ZeroUncertaintyAmperes: r.ZeroAmperes, GainUncertaintyRatio: r.GainRatio,
		OffsetAmperes: r.Offset, OffsetAgeNanos: r.Age, Estimator: r.Estimator, EstimatorGeneration: r.Generation,
	}
	for k := range r.Amperes {
		if r.Period == 0 {
			f.OffsetNanos = append(f.OffsetNanos, r.At(k)-r.At(0))
		}
		if r.Causes != 0 {
			f.QualityBits = append(f.QualityBits, uint32(r.QualityAt(k)))
		}
	}
	return f
}

// TestEncoding holds what a reused encoder writes against the generated code's bytes for a new message.
func TestEncoding(t *testing.T) {
	f := newFeed(t, 0, "a")
	rapid.Check(t, func(t *rapid.T) {
		r := drawReadings(t)
		want := &ampledgerv1.StreamReadingsResponse{
			Item: &ampledgerv1.StreamReadingsResponse_Frame{Frame: slowFrame("pack", "a", r)},
		}
		bytes, err := proto.Marshal(want)
		if err != nil {
			t.Fatal(err)
		}
		got, size, err := f.hub.encoder.encode(f.lanes()[0], r)
		if err != nil || string(got.ReadOnlyData()) != string(bytes) || size < len(bytes) {
			t.Fatalf("%v: %d bytes in %d of memory, want %d", err, got.Len(), size, len(bytes))
		}
		frame, err := decodeLast(got)
		if diff := cmp.Diff(want.GetFrame(), frame, protocmp.Transform()); err != nil || diff != "" {
			t.Fatalf("%v: %s", err, diff)
		}
		if len(f.pool.out) != 0 {
			t.Fatalf("%d buffers are not given back", len(f.pool.out))
		}
	})
}

// TestCut takes the first readings off a frame and holds the rest against a frame that began there.
func TestCut(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := drawReadings(t)
		n := rapid.IntRange(0, r.Len()-1).Draw(t, "cut")
		rest := *r
		rest.Clock = r.From(n, r.Len())
		rest.Amperes, rest.Raw = r.Amperes[n:], r.Raw[n:]
		if r.Quality != nil {
			rest.Quality = r.Quality[n:]
		}
		want, got := slowFrame("pack", "a", &rest), slowFrame("pack", "a", r)
		want.PrecedingCount = uint64(n)
		if r.Age >= 0 {
			want.OffsetAgeNanos += r.At(n) - r.At(0)
		}
		cutFrame(got, n)
		if diff := cmp.Diff(want, got, protocmp.Transform()); diff != "" {
			t.Fatal(diff)
		}
	})
}

// TestCodec passes encoded messages through and everything else on to the usual codec.
func TestCodec(t *testing.T) {
	pool := newCountingPool()
	bytes := mem.Copy(make([]byte, 2000), pool)
	data, err := newCodec().Marshal(&encoded{bytes})
	if err != nil || len(data) != 1 || data[0] != bytes {
		t.Fatalf("got %v, %v", data, err)
	}
	data.Free()
	if pool.returned != 1 {
		t.Error("the reference was not handed over")
	}
	lost := &ampledgerv1.Lost{Channel: "a", ReadingCount: 3}
	if data, err = newCodec().Marshal(lost); err != nil {
		t.Fatal(err)
	}
	var got ampledgerv1.Lost
	if err := newCodec().Unmarshal(data, &got); err != nil || !proto.Equal(lost, &got) {
		t.Errorf("got %v, %v", &got, err)
	}
}

// TestFramePool wants buffers of at least what was asked for and at most a quarter more, each again once it is given back.
func TestFramePool(t *testing.T) {
	var pool framePool
	rapid.Check(t, func(t *rapid.T) {
		length := rapid.OneOf(rapid.IntRange(0, 5000), rapid.IntRange(0, 1<<24)).Draw(t, "length")
		buffer := pool.Get(length)
		if len(*buffer) != length || cap(*buffer) > max(8, length+length/4) {
			t.Fatalf("%d bytes of %d for %d", len(*buffer), cap(*buffer), length)
		}
		*buffer = (*buffer)[:length/2]
		pool.Put(buffer)
		if again := pool.Get(length); len(*again) != length {
			t.Fatalf("%d bytes the second time", len(*again))
		}
	})
	index := -1
	for n := 5; n < 1<<16; n++ {
		next, size := sizeClass(n)
		if size < n || next < index || next > index+1 && index >= 0 {
			t.Fatalf("class %d with %d bytes for %d, after class %d", next, size, n, index)
		}
		index = next
	}
	foreign := make([]byte, 0, 100)
	pool.Put(&foreign)
	if got := pool.Get(99); cap(*got) < 99 || cap(*got) == math.MaxInt {
		t.Errorf("%d bytes", cap(*got))
	}
}
