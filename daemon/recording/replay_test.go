package recording

import (
	"context"
	"math"
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"

	"github.com/ampledger/ampledger/plugins/driver/drivertest"
	"github.com/ampledger/ampledger/plugins/driver/replay"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// configured gives a driver that is to play a recording as fast as possible, and what it describes.
func configured(t *testing.T, path string) (*replay.Driver, *plugin.Description) {
	t.Helper()
	settings, err := plugin.NewSettings(map[string]any{"file": path, "speed": 0})
	if err != nil {
		t.Fatal(err)
	}
	driver := replay.New()
	description, err := driver.Configure(t.Context(), "device", settings)
	if err != nil {
		t.Fatal(err)
	}
	return driver, description
}

// replayed plays a recording and takes its frames apart.
func replayed(t *testing.T, path string) (all []row, d *plugin.Description) {
	t.Helper()
	driver, d := configured(t, path)
	err := driver.Stream(context.Background(), func(f *plugin.Frame) error {
		all = append(all, rowsOfFrame(f)...)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return all, d
}

// rowsOfFrame takes a driver's frame apart.
func rowsOfFrame(f *plugin.Frame) (all []row) {
	for k := range int(f.GetScanCount()) {
		offset := int64(k) * f.GetPeriodNanos()
		if f.GetPeriodNanos() == 0 {
			offset = f.GetOffsetNanos()[k]
		}
		one := row{Sequence: int64(f.GetFirstSequence()) + int64(k), Monotonic: f.GetFirstMonotonicNanos() + offset, Wall: f.GetFirstWallNanos() + offset, Uncertainty: f.GetTimeUncertaintyNanos()}
		for i, column := range f.GetColumns() {
			for _, index := range column.GetAbsentIndices() {
				one.Absent[i] = one.Absent[i] || index == uint32(k)
			}
			switch {
			case one.Absent[i]:
			case len(column.GetCodes()) > 0:
				one.Bits[i] = math.Float64bits(float64(column.GetCodes()[k]))
			default:
				one.Bits[i] = math.Float64bits(column.GetValues()[k])
			}
		}
		all = append(all, one)
	}
	return all
}

// asReplayed is what a replay makes of recorded rows: sequences count from the first, flags and epochs are the daemon's, and an epoch's times follow on
// the latest of the one before by as much as the wall clock went on.
func asReplayed(rows []row) []row {
	all := make([]row, len(rows))
	latest, shift := rows[0].Monotonic, int64(0)
	for k, r := range rows {
		if k > 0 && r.Epoch != rows[k-1].Epoch {
			shift = latest + max(r.Wall-rows[k-1].Wall, 1) - r.Monotonic
		}
		all[k] = r
		all[k].Sequence, all[k].Monotonic, all[k].Epoch, all[k].Flags = r.Sequence-rows[0].Sequence, r.Monotonic+shift, 0, 0
		latest = max(latest, all[k].Monotonic)
	}
	return all
}

func TestReplaysBitForBit(t *testing.T) {
	for seed := range uint64(5) {
		folder := t.TempDir()
		settings := quiet(folder)
		settings.RowGroupScans, settings.QueuedRowGroups, settings.RotateBytes = 777, 64, 64<<10
		r := start(t, settings, Told{OnLost: func(l Lost) { t.Errorf("lost %+v", l) }, OnFault: func(err error) { t.Error(err) }})
		track, from := r.track(t), newSource(seed)
		var want []row
		for range 100 {
			f := from.next(1 + from.random.IntN(300))
			track.Frame(f)
			want = append(want, rowsOf(f)...)
		}
		if err := r.stop(); err != nil {
			t.Fatal(err)
		}
		if n := len(files(t, folder, "*.parquet")); n < 2 {
			t.Errorf("%d files, want that it was rotated", n)
		}
		for _, path := range []string{folder, filepath.Join(folder, "adc%5F0_*.parquet")} {
			got, description := replayed(t, path)
			compareRows(t, asReplayed(want), got)
			finite := proto.CloneOf(head().Description)
			finite.Finite = true
			if diff := cmp.Diff(finite, description, protocmp.Transform()); diff != "" {
				t.Errorf("description (-want +got):\n%s", diff)
			}
		}
	}
}

func TestConformanceOfAReplay(t *testing.T) {
	folder := t.TempDir()
	r := start(t, quiet(folder), Told{})
	track, from := r.track(t), newSource(9)
	for range 20 {
		track.Frame(from.next(100))
	}
	if err := r.stop(); err != nil {
		t.Fatal(err)
	}
	drivertest.Run(t, func() plugin.Driver { return replay.New() }, map[string]any{"file": folder, "speed": 0})
}
