package recording

import (
	"bytes"
	"io"
	"math"
	"os"
	"testing"

	goparquet "github.com/fraugster/parquet-go"

	"github.com/ampledger/ampledger/plugins/driver/replay/recorded"
)

// readIndependently reads a file with github.com/fraugster/parquet-go, which has nothing of the code that wrote it: an implementation of the
// format of its own, from the thrift definitions up.
func readIndependently(t *testing.T, path string) (all []row, metadata map[string]string) {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	reader, err := goparquet.NewFileReader(bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	for {
		cells, err := reader.NextRow()
		if err == io.EOF {
			return all, reader.MetaData()
		}
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, rowOf(t, cells))
	}
}

func rowOf(t *testing.T, cells map[string]any) (one row) {
	t.Helper()
	one = row{Sequence: cells[recorded.Sequence].(int64), Monotonic: cells[recorded.Monotonic].(int64), Wall: cells[recorded.Wall].(int64),
		Epoch: cells[recorded.Epoch].(int64), Flags: cells[recorded.Flags].(int32), Uncertainty: cells[recorded.Uncertainty].(int64)}
	for i, input := range head().Description.GetInputs() {
		switch v := cells[input.GetName()].(type) {
		case nil:
			one.Absent[i] = true
		case int32:
			one.Bits[i] = math.Float64bits(float64(v))
		case float64:
			one.Bits[i] = math.Float64bits(v)
		default:
			t.Fatalf("input %d is a %T", i, v)
		}
	}
	return one
}

func TestAnIndependentReaderReadsTheSame(t *testing.T) {
	folder := t.TempDir()
	settings := quiet(folder)
	settings.RowGroupScans, settings.QueuedRowGroups = 5000, 64
	r := start(t, settings, Told{})
	track, from := r.track(t), newSource(1)
	var want []row
	for range 60 {
		f := from.next(1 + from.random.IntN(500))
		track.Frame(f)
		want = append(want, rowsOf(f)...)
	}
	if err := r.stop(); err != nil {
		t.Fatal(err)
	}
	found := files(t, folder, "*")
	if len(found) != 1 {
		t.Fatalf("%v", found)
	}
	got, metadata := readIndependently(t, found[0])
	compareRows(t, want, got)
	if text, err := head().Text(); err != nil || metadata[recorded.Key] != text {
		t.Errorf("metadata %q", metadata)
	}
}
