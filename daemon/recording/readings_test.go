package recording

import (
	"bytes"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	goparquet "github.com/fraugster/parquet-go"
	"github.com/google/go-cmp/cmp"

	"github.com/ampledger/ampledger/daemon/scan"
)

func TestReadingsStandBesideTheRaw(t *testing.T) {
	folder := t.TempDir()
	r := start(t, quiet(folder), Told{})
	to, err := r.Readings("pack", "shunt", 1000, true)
	if err != nil {
		t.Fatal(err)
	}
	if again, err := r.Readings("pack", "shunt", 1000, true); err != nil || again.track != to.track {
		t.Errorf("asked again: another track, or %v", err)
	}
	to.Take(&scan.Readings{Clock: scan.Clock{Epoch: 3, Sequence: 7, Wall: 1e18, Monotonic: 5, Period: 10, Uncertainty: 4}, Amperes: []float64{1.5, math.Inf(1)},
		Quality: []scan.Quality{0, scan.Saturated}, NoiseAmperes: 0.25, ZeroAmperes: 0.125, GainRatio: 1e-3, Estimate: scan.Estimate{Offset: -0.5, Generation: 2}})
	to.Take(&scan.Readings{Clock: scan.Clock{Epoch: 3, Sequence: 9, Wall: 1e18 + 50, Monotonic: 55, Offsets: []int64{0}}, Amperes: []float64{-2}})
	if err := r.stop(); err != nil {
		t.Fatal(err)
	}
	found := files(t, folder, "pack%2Fshunt_*.parquet")
	if len(found) != 1 {
		t.Fatalf("%v", files(t, folder, "*"))
	}
	text, err := os.ReadFile(found[0])
	if err != nil {
		t.Fatal(err)
	}
	reader, err := goparquet.NewFileReader(bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	want := []map[string]any{cells(7, 5, 1e18, 0, 1.5, -0.5, 0.25, 0.125, 1e-3, 2), cells(8, 15, 1e18+10, 4, math.Inf(1), -0.5, 0.25, 0.125, 1e-3, 2), cells(9, 55, 1e18+50, 0, -2, 0, 0, 0, 0, 0)}
	want[0]["scan_time_uncertainty_nanos"], want[1]["scan_time_uncertainty_nanos"] = int64(4), int64(4)
	for i := range want {
		got, err := reader.NextRow()
		if diff := cmp.Diff(want[i], got); err != nil || diff != "" {
			t.Errorf("row %d: %v (-want +got):\n%s", i, err, diff)
		}
	}
	if _, description := configured(t, filepath.Dir(found[0])); !description.Inputs[0].Averaging || description.Inputs[1].Averaging || description.Inputs[0].Unit != "A" {
		t.Errorf("described as %v", description)
	}
}

// cells is a row as the independent reader gives it.
func cells(sequence, monotonic, wall int64, flags int32, values ...float64) map[string]any {
	all := map[string]any{"scan_sequence": sequence, "scan_monotonic_nanos": monotonic, "scan_wall_nanos": wall, "scan_epoch": int64(3), "scan_flags": flags,
		"scan_time_uncertainty_nanos": int64(0)}
	for i, c := range readingColumns {
		all[c.name] = values[i]
	}
	return all
}

func TestEveryColumnOfReadingsNamesItsUnit(t *testing.T) {
	for _, c := range readingColumns {
		if c.unit == "A" && !strings.HasSuffix(c.name, "amperes") {
			t.Errorf("%s in %s", c.name, c.unit)
		}
	}
}

func TestTakingReadingsAllocatesNothing(t *testing.T) {
	settings := quiet(t.TempDir())
	settings.RowGroupScans = 1000
	recorder, err := New(settings, Told{})
	if err != nil {
		t.Fatal(err)
	}
	to, err := recorder.Readings("pack", "shunt", 0, false)
	if err != nil {
		t.Fatal(err)
	}
	readings := &scan.Readings{Clock: scan.Clock{Period: 10}, Amperes: make([]float64, 1000)}
	turn := func() {
		to.Take(readings)
		to.track.next(false)
		to.track.done()
	}
	turn()
	if n := testing.AllocsPerRun(100, turn); n != 0 {
		t.Errorf("%v allocations", n)
	}
}
