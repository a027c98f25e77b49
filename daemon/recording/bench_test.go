package recording

import (
	"bytes"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/parquet-go/parquet-go"
	"github.com/parquet-go/parquet-go/compress"
	"github.com/parquet-go/parquet-go/compress/zstd"
	"github.com/parquet-go/parquet-go/encoding"

	"github.com/ampledger/ampledger/daemon/scan"
)

// The scans of a frame and of a row group: a second and ten seconds at 1 kHz.
const (
	benchScans = 1000
	groupScans = 10_000
)

// measured gives frames as a device at 1 kHz would: a walk with noise, in codes and in volts with four decimals, and a slow temperature.
func measured(count int) *scan.Frame {
	random := rand.New(rand.NewPCG(1, 2))
	f := &scan.Frame{Clock: scan.Clock{Epoch: 1, Wall: wallStart, Period: 1e6}, Count: count, Columns: make([]scan.Column, 3)}
	walk := 0.0
	for range count {
		walk += 2 * random.NormFloat64()
		f.Columns[0].Values = append(f.Columns[0].Values, math.Round(walk+3*random.NormFloat64()))
		f.Columns[1].Values = append(f.Columns[1].Values, math.Round(1e4*(walk*0.0123+0.05*random.NormFloat64()))/1e4)
		f.Columns[2].Values = append(f.Columns[2].Values, 25+math.Round(walk)/100)
	}
	return f
}

func benchTrack(b *testing.B) *Track {
	recorder, err := New(quiet(b.TempDir()), Told{})
	if err != nil {
		b.Fatal(err)
	}
	track, err := recorder.Track(head())
	if err != nil {
		b.Fatal(err)
	}
	return track
}

// BenchmarkFrame is what recording costs the data path, beside a plain copy of the three inputs.
func BenchmarkFrame(b *testing.B) {
	track, f := benchTrack(b), measured(benchScans)
	floor := make([][]float64, len(f.Columns))
	var recording, copying time.Duration
	b.ReportAllocs()
	for b.Loop() {
		begun := time.Now()
		track.Frame(f)
		recording += time.Since(begun)
		f.Sequence += benchScans
		if track.next(false) != nil {
			track.done()
		}
		begun = time.Now()
		for i := range floor {
			if len(floor[i]) >= 1<<16 {
				floor[i] = floor[i][:0]
			}
			floor[i] = append(floor[i], f.Columns[i].Values...)
		}
		copying += time.Since(begun)
	}
	readings := float64(b.N * benchScans * len(f.Columns))
	b.ReportMetric(float64(recording.Nanoseconds())/readings, "ns/reading")
	b.ReportMetric(float64(copying.Nanoseconds())/readings, "copy-ns/reading")
}

// BenchmarkEncode makes row groups of 10,000 scans, off the data path.
func BenchmarkEncode(b *testing.B) {
	track, f := benchTrack(b), measured(groupScans)
	block := newBlock(len(f.Columns))
	block.add(f, 0, f.Count)
	b.ReportAllocs()
	size := 0
	for b.Loop() {
		segment, err := track.encoder.encode(block)
		if err != nil {
			b.Fatal(err)
		}
		size = len(segment)
	}
	readings := float64(block.count() * len(f.Columns))
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/readings, "ns/reading")
	b.ReportMetric(float64(size)/readings, "B/reading")
}

// BenchmarkEncodings is what the choice of encodings and codec rests on: bytes and time a value, for 10,000 values of each kind.
func BenchmarkEncodings(b *testing.B) {
	f := measured(groupScans)
	kinds := map[string]struct {
		node  parquet.Node
		value func(k int) parquet.Value
	}{
		"code":  {parquet.Leaf(parquet.Int32Type), func(k int) parquet.Value { return parquet.Int32Value(int32(f.Columns[0].At(k))) }},
		"volts": {parquet.Leaf(parquet.DoubleType), func(k int) parquet.Value { return parquet.DoubleValue(f.Columns[1].At(k)) }},
		"time":  {parquet.Leaf(parquet.Int64Type), func(k int) parquet.Value { return parquet.Int64Value(int64(k) * 1e6) }},
		"jitter": {parquet.Leaf(parquet.Int64Type), func(k int) parquet.Value {
			return parquet.Int64Value(int64(k)*1e6 + int64(f.Columns[0].At(k)*40))
		}},
	}
	encodings := map[string]encoding.Encoding{"plain": &parquet.Plain, "delta": &parquet.DeltaBinaryPacked, "dictionary": &parquet.RLEDictionary}
	codecs := map[string]compress.Codec{"none": &parquet.Uncompressed, "snappy": &parquet.Snappy, "zstd": &parquet.Zstd, "zstd-fastest": &zstd.Codec{Level: zstd.SpeedFastest}}
	for kind, k := range kinds {
		for name, e := range encodings {
			if name == "delta" && kind == "volts" {
				continue // there is no such encoding of doubles
			}
			for by, c := range codecs {
				b.Run(kind+"/"+name+"/"+by, func(b *testing.B) {
					benchEncoding(b, parquet.Compressed(parquet.Encoded(k.node, e), c), k.value)
				})
			}
		}
	}
}

func benchEncoding(b *testing.B, node parquet.Node, value func(k int) parquet.Value) {
	values := make([]parquet.Value, groupScans)
	for k := range values {
		values[k] = value(k).Level(0, 0, 0)
	}
	var out bytes.Buffer
	w := parquet.NewGenericWriter[any](&out, parquet.NewSchema("x", parquet.Group{"v": node}))
	for b.Loop() {
		out.Reset()
		w.Reset(&out)
		if _, err := w.ColumnWriters()[0].WriteRowValues(values); err != nil {
			b.Fatal(err)
		}
		if err := w.Close(); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*len(values)), "ns/value")
	b.ReportMetric(float64(out.Len())/float64(len(values)), "B/value")
}
