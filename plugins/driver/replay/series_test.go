package replay

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/parquet-go/parquet-go"
	"google.golang.org/protobuf/testing/protocmp"

	"github.com/ampledger/ampledger/plugins/driver/drivertest"
	"github.com/ampledger/ampledger/plugins/driver/replay/columns"
	"github.com/ampledger/ampledger/plugins/driver/replay/recorded"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// save writes rows in Parquet to a file of the working directory.
func save[T any](t testing.TB, path string, rows []T, options ...parquet.WriterOption) {
	t.Helper()
	var out bytes.Buffer
	w := parquet.NewGenericWriter[T](&out, options...)
	if _, err := w.Write(rows); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, out.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
}

// measured is a row of somebody else's recording.
type measured struct {
	Seconds float64 `parquet:"t"`
	Amperes float64 `parquet:"a"`
	Mode    string  `parquet:"mode"`
	Code    *int32  `parquet:"b,optional"`
	Long    int64   `parquet:"n"`
}

// plain is a row of the plainest recording.
type plain struct {
	T float64 `parquet:"t"`
	A float64 `parquet:"a"`
}

func number32(n int32) *int32 { return &n }

func measurements() []measured {
	return []measured{{0, 1, "x", nil, 1}, {0.1, 2, "x", number32(5), 2}, {0.2, 3, "y", nil, 3}, {0.5, math.Copysign(0, -1), "y", number32(6), 4},
		{0.5, math.NaN(), "y", number32(7), 5}, {0.3, math.Inf(1), "z", number32(8), 6}, {1.0, 9, "z", number32(9), 7}}
}

func TestFramesOfParquet(t *testing.T) {
	t.Chdir(t.TempDir())
	save(t, "r.parquet", measurements())
	driver, description := mustConfigure(t, with{"file": "r.parquet", "speed": 0, "frame_scans": 3})
	want := []*plugin.Input{{Name: "a", Unit: "1"}, {Name: "b", Unit: "1"}, {Name: "n", Unit: "1"}}
	if diff := cmp.Diff(&plugin.Description{NominalRateHertz: 10, Finite: true, Inputs: want}, description, protocmp.Transform(), cmpopts.EquateApprox(1e-9, 0)); diff != "" {
		t.Errorf("description (-want +got):\n%s", diff)
	}
	got, err := play(t.Context(), driver)
	if err != nil {
		t.Fatal(err)
	}
	wantFrames := []*plugin.Frame{
		{ScanCount: 3, PeriodNanos: 1e8, Columns: []*plugin.Column{{Values: []float64{1, 2, 3}}, {Values: []float64{0, 5, 0}, AbsentIndices: []uint32{0, 2}}, {Values: []float64{1, 2, 3}}}},
		{FirstSequence: 3, ScanCount: 3, FirstMonotonicNanos: 5e8, FirstWallNanos: 5e8, OffsetNanos: []int64{0, 0, -2e8},
			Columns: []*plugin.Column{{Values: []float64{math.Copysign(0, -1), math.NaN(), math.Inf(1)}}, {Values: []float64{6, 7, 8}}, {Values: []float64{4, 5, 6}}}},
		{FirstSequence: 6, ScanCount: 1, FirstMonotonicNanos: 1e9, FirstWallNanos: 1e9, OffsetNanos: []int64{0}, Columns: []*plugin.Column{{Values: []float64{9}}, {Values: []float64{9}}, {Values: []float64{7}}}},
	}
	if diff := cmp.Diff(wantFrames, got, protocmp.Transform(), cmpopts.EquateNaNs()); diff != "" {
		t.Errorf("frames (-want +got):\n%s", diff)
	}
	if !math.Signbit(got[1].Columns[0].Values[0]) {
		t.Error("a zero lost its sign")
	}
}

// TestParquetPlaysAsTheSameTable holds the two paths against each other, converted and in a window, in frames of several sizes.
func TestParquetPlaysAsTheSameTable(t *testing.T) {
	table := "t,a,mode,b,n\n0,1,x,,1\n0.1,2,x,5,2\n0.2,3,y,,3\n0.5,-0,y,6,4\n0.5,nan,y,7,5\n0.3,inf,z,8,6\n1.0,9,z,9,7\n"
	write(t, table)
	save(t, "r.parquet", measurements(), parquet.PageBufferSize(16))
	for name, settings := range map[string]with{
		"scaled": {"inputs": []any{with{"name": "v", "column": "a", "scale": -2, "offset": 0.5, "unit": "V"}, with{"name": "b", "scale": 3}}},
		"codes":  {"inputs": []any{with{"name": "a", "unit": "code", "bits": 3}, with{"name": "b", "unit": "code", "bits": 4, "signed": false}, with{"name": "n", "scale": 1000, "unit": "code"}}},
		"window": {"from_seconds": 0.15, "to_seconds": 0.5}, "start": {"start_seconds": 0.2}, "start and end": {"start_seconds": 0.1, "to_seconds": 0.3},
		"other time": {"time_column": "n", "wall_start": "2026-01-31T12:00:00Z"}, "in time": {"speed": 1e9, "wall_start": "2026-01-31T12:00:00Z"},
	} {
		for _, size := range []int{0, 1, 2, 5} {
			given := with{"file": "r.csv", "speed": 0, "frame_scans": size}
			for key, value := range settings {
				given[key] = value
			}
			driver, description := mustConfigure(t, given)
			want, wantErr := play(t.Context(), driver)
			given["file"] = "r.parquet"
			driver, again := mustConfigure(t, given)
			got, err := play(t.Context(), driver)
			if wantErr != nil || err != nil {
				t.Fatal(wantErr, err)
			}
			if diff := cmp.Diff(description, again, protocmp.Transform()); diff != "" {
				t.Errorf("%s: description (-CSV +Parquet):\n%s", name, diff)
			}
			if diff := cmp.Diff(want, got, protocmp.Transform(), cmpopts.EquateNaNs()); diff != "" {
				t.Errorf("%s, frames of %d (-CSV +Parquet):\n%s", name, size, diff)
			}
		}
	}
}

func TestFaultInParquetComesAfterTheScansBefore(t *testing.T) {
	t.Chdir(t.TempDir())
	rows := measurements()
	rows[4].Long, rows[5].Seconds = 1<<53+1, math.NaN()
	save(t, "r.parquet", rows)
	for name, c := range map[string]struct {
		settings with
		scans    int
		want     string
	}{
		"value": {with{}, 4, `r.parquet: row 5: column "n": 9007199254740993 is a whole number beyond 2^53, which a double cannot hold exactly`},
		"time":  {with{"inputs": []any{with{"name": "a"}}}, 5, `r.parquet: row 6: column "t": NaN is no time in seconds`},
		"code": {with{"inputs": []any{with{"name": "b", "scale": 1e9, "unit": "code"}, with{"name": "n", "scale": 1e9, "unit": "code"}}}, 1,
			`r.parquet: row 2: column "b": 5e+09 is beyond the 32 bits of a code`},
		"code of a later input": {with{"inputs": []any{with{"name": "b", "scale": 3e8, "unit": "code"}, with{"name": "n", "scale": 1e9, "unit": "code"}}}, 2,
			`r.parquet: row 3: column "n": 3e+09 is beyond the 32 bits of a code`},
	} {
		t.Run(name, func(t *testing.T) {
			c.settings["file"], c.settings["speed"] = "r.parquet", 0
			driver, _ := mustConfigure(t, c.settings)
			frames, err := play(t.Context(), driver)
			if err == nil || err.Error() != c.want {
				t.Errorf("error %v, want %s", err, c.want)
			}
			if got := scans(frames, 0); len(got) != c.scans {
				t.Errorf("%d scans before it, want %d", len(got), c.scans)
			}
			for _, column := range frames[len(frames)-1].Columns {
				if n := len(column.Codes) + len(column.Values); n != c.scans {
					t.Errorf("a column of %d values was left for %d scans", n, c.scans)
				}
			}
		})
	}
}

func TestSeriesSettingsFaults(t *testing.T) {
	t.Chdir(t.TempDir())
	save(t, "r.parquet", measurements())
	save(t, "other.parquet", []struct {
		T float64 `parquet:"t"`
	}{{1}})
	if err := os.WriteFile("cut.parquet.part", []byte("PAR1ALRG"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile("table.parquet", []byte("t,a\n0,1\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		settings with
		want     string
	}{
		{with{"file": "none.parquet"}, `setting "file": none.parquet: no such file or directory; a relative path counts from the folder of the configuration`},
		{with{"file": "no*.parquet"}, `setting "file": no*.parquet: no such file or directory; a relative path counts from the folder of the configuration`},
		{with{"file": "[.parquet"}, `setting "file": "[.parquet" is no pattern: syntax error in pattern`},
		{with{"file": "table.parquet"}, `setting "file": table.parquet: is no Parquet file`},
		{with{"file": "cut.parquet.part"}, `setting "file": cut.parquet.part: ` + columns.ErrCutOff.Error()},
		{with{"file": "[ro]*.parquet"}, "setting \"file\": r.parquet: its columns are others than those of other.parquet: name files that go together"},
		{with{"file": "other.parquet"}, `setting "file": other.parquet: no column but the time holds numbers`},
		{with{"file": "r.parquet", "time_column": "mode"}, `setting "file": r.parquet: column "mode": holds text or bytes, no numbers`},
		{with{"file": "r.parquet", "inputs": []any{with{"name": "mode"}}}, `setting "file": r.parquet: column "mode": holds text or bytes, no numbers`},
		{with{"file": "r.parquet", "time_column": "x", "start_seconds": -1}, "setting \"time_column\": r.parquet has no column \"x\", only \"t\", \"a\", \"mode\", \"b\", \"n\"\nsetting \"start_seconds\": -1 s lies before the first row"},
		{with{"file": "r.parquet", "start_seconds": 1, "from_seconds": 1}, `setting "start_seconds": counts from the first row, from_seconds in the recording's time: give one of them`},
		{with{"file": "r.parquet", "start_seconds": 2}, `setting "file": r.parquet: no row lies between "start_seconds" and "to_seconds"`},
		{with{"file": "r.parquet", "where": with{"mode": "x"}, "speed": -1}, `setting "speed": -1 is no speed, give 1 for real time, or 0 for as fast as possible
setting "where": chooses rows of a CSV file; there is no such choice in Parquet`},
	} {
		if _, _, err := configure(t, c.settings); err == nil || err.Error() != c.want {
			t.Errorf("%v: error\n%v\nwant\n%s", c.settings, err, c.want)
		}
	}
}

func TestConformanceOfParquet(t *testing.T) {
	t.Chdir(t.TempDir())
	save(t, "r.parquet", measurements())
	for _, settings := range []with{{"file": "r.parquet", "speed": 0}, {"file": "r.parquet"}, {"file": "r.parquet", "loop": true}} {
		drivertest.Run(t, func() plugin.Driver { return New() }, settings)
	}
}

// TestALoop hears a recording three times over, once as a table and once in Parquet.
func TestALoop(t *testing.T) {
	write(t, "t,a\n5,1\n5.5,2\n6.5,3\n6,4\n")
	save(t, "r.parquet", []plain{{5, 1}, {5.5, 2}, {6.5, 3}, {6, 4}})
	want := []scanned{{0, 5e9, 5e9, 1, false}, {1, 55e8, 55e8, 2, false}, {2, 65e8, 65e8, 3, false}, {3, 6e9, 6e9, 4, false},
		{4, 7e9, 7e9, 1, false}, {5, 75e8, 75e8, 2, false}, {6, 85e8, 85e8, 3, false}, {7, 8e9, 8e9, 4, false},
		{8, 9e9, 9e9, 1, false}, {9, 95e8, 95e8, 2, false}}
	for _, file := range []string{"r.csv", "r.parquet"} {
		driver, description := mustConfigure(t, with{"file": file, "speed": 0, "loop": true, "frame_scans": 2})
		var got []scanned
		err := driver.Stream(t.Context(), func(f *plugin.Frame) error {
			got = append(got, scans([]*plugin.Frame{f}, 0)...)
			if len(got) >= len(want) {
				return errEnough
			}
			return nil
		})
		if !errors.Is(err, errEnough) || description.Finite {
			t.Errorf("%v, finite %v", err, description.Finite)
		}
		// Median of the intervals 0.5, 1 and -0.5 s is 0.5 s.
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("%s (-want +got):\n%s", file, diff)
		}
	}
}

var errEnough = errors.New("enough")

func TestALoopGoesOnInTime(t *testing.T) {
	write(t, "t,a\n5,1\n6,2\n")
	synctest.Test(t, func(t *testing.T) {
		driver, _ := mustConfigure(t, with{"loop": true, "speed": 2})
		ctx, cancel := context.WithTimeout(t.Context(), 2600*time.Millisecond)
		defer cancel()
		got, err := releases(ctx, driver)
		want := []release{{0, 1}, {5e8, 1}, {1e9, 1}, {15e8, 1}, {2e9, 1}, {25e8, 1}}
		if diff := cmp.Diff(want, got, cmp.AllowUnexported(release{})); diff != "" || err == nil {
			t.Errorf("%v (-want +got):\n%s", err, diff)
		}
	})
}

func TestParquetKeepsTheSamePace(t *testing.T) {
	var table strings.Builder
	table.WriteString("t,a\n")
	var rows []plain
	for k := range 400 {
		at := float64(k*k%7919) / 100 // now and then backwards
		fmt.Fprintf(&table, "%v,1\n", at)
		rows = append(rows, plain{at, 1})
	}
	write(t, table.String())
	save(t, "r.parquet", rows, parquet.MaxRowsPerRowGroup(70))
	for _, speed := range []float64{1, 0.5, 30, 1000} {
		all := map[string][]release{}
		for _, file := range []string{"r.csv", "r.parquet"} {
			synctest.Test(t, func(t *testing.T) {
				driver, _ := mustConfigure(t, with{"file": file, "speed": speed})
				got, err := releases(t.Context(), driver)
				if err != nil {
					t.Fatal(err)
				}
				all[file] = got
			})
		}
		if diff := cmp.Diff(all["r.csv"], all["r.parquet"], cmp.AllowUnexported(release{})); diff != "" {
			t.Errorf("speed %v (-CSV +Parquet):\n%s", speed, diff)
		}
	}
}

func TestALoopOverNothingEnds(t *testing.T) {
	write(t, "t,a\n5,1\n")
	driver, _ := mustConfigure(t, with{"loop": true, "speed": 0})
	if err := os.WriteFile("r.csv", []byte("t,a\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := play(t.Context(), driver); !errors.Is(err, errNoRows) {
		t.Errorf("error %v, want that there are no rows", err)
	}
}

// ownRow is a row of a recording of the daemon with one input.
type ownRow struct {
	Sequence  int64  `parquet:"scan_sequence"`
	Monotonic int64  `parquet:"scan_monotonic_nanos"`
	Wall      int64  `parquet:"scan_wall_nanos,timestamp(nanosecond)"`
	Epoch     int64  `parquet:"scan_epoch"`
	Flags     int32  `parquet:"scan_flags"`
	Code      *int32 `parquet:"code,optional"`
}

// timedRow is one as recordings are now; ownRow is one of before.
type timedRow struct {
	Sequence    int64  `parquet:"scan_sequence"`
	Monotonic   int64  `parquet:"scan_monotonic_nanos"`
	Wall        int64  `parquet:"scan_wall_nanos,timestamp(nanosecond)"`
	Epoch       int64  `parquet:"scan_epoch"`
	Flags       int32  `parquet:"scan_flags"`
	Uncertainty int64  `parquet:"scan_time_uncertainty_nanos"`
	Code        *int32 `parquet:"code,optional"`
}

// saveOwn writes a recording of the daemon.
func saveOwn(t testing.TB, path string, device string, rows ...ownRow) {
	t.Helper()
	saveRows(t, path, device, rows)
}

func saveRows[R any](t testing.TB, path, device string, rows []R) {
	t.Helper()
	head := recorded.Head{Device: device, Description: &plugin.Description{NominalRateHertz: 4, Inputs: []*plugin.Input{
		{Name: "code", Unit: "code", MinimumCode: -5, MaximumCode: 5, CodeRangeKnown: true}}}}
	text, err := head.Text()
	if err != nil {
		t.Fatal(err)
	}
	save(t, path, rows, parquet.KeyValueMetadata(recorded.Key, text))
}

func TestARecordingOfTheDaemon(t *testing.T) {
	t.Chdir(t.TempDir())
	saveOwn(t, "a_1.parquet", "adc0", ownRow{100, 10, 1e18, 3, 0, number32(9)}, ownRow{101, 20, 1e18 + 10, 3, 0, nil}, ownRow{105, 70, 1e18 + 90, 3, 0, number32(-9)})
	saveOwn(t, "a_2.parquet", "adc0", ownRow{106, 5, 1e18 + 190, 4, 0, number32(1)}, ownRow{107, 15, 1e18 + 150, 4, 16, number32(2)}, ownRow{108, 1, 1e18, 5, 0, number32(3)})
	want := []scanned{{0, 10, 1e18, 9, false}, {1, 20, 1e18 + 10, 0, true}, {5, 70, 1e18 + 90, -9, false},
		{6, 170, 1e18 + 190, 1, false}, {7, 180, 1e18 + 150, 2, false}, {8, 181, 1e18, 3, false}}
	for _, file := range []string{".", "a_*.parquet", "a_?.parquet"} {
		driver, description := mustConfigure(t, with{"file": file, "speed": 0})
		if description.NominalRateHertz != 4 || description.Inputs[0].MaximumCode != 5 || !description.Finite {
			t.Errorf("described as %v", description)
		}
		got, err := play(t.Context(), driver)
		if diff := cmp.Diff(want, scans(got, 0)); diff != "" || err != nil {
			t.Errorf("%s: %v (-want +got):\n%s", file, err, diff)
		}
	}
	window := mustPlay(t, with{"file": ".", "speed": 0, "start_seconds": 60e-9})
	if got := scans(window, 0); len(got) != 4 || got[0].Sequence != 0 || got[0].At != 70 || got[1].Sequence != 1 {
		t.Errorf("from a start on: %v", got)
	}
	asTable := mustPlay(t, with{"file": "a_1.parquet", "speed": 0, "time_column": "scan_wall_nanos", "inputs": []any{with{"name": "code"}}})
	if got := scans(asTable, 0); len(got) != 3 || got[2].Sequence != 2 || got[2].At != 1e18+90 {
		t.Errorf("by a column of its own: %v", got)
	}
}

func TestRecordingsThatDoNotGoTogether(t *testing.T) {
	t.Chdir(t.TempDir())
	one, five := ownRow{Sequence: 1, Code: number32(1)}, ownRow{Sequence: 5, Code: number32(1)}
	saveOwn(t, "a.parquet", "adc0", one, five)
	saveOwn(t, "b.parquet", "adc1", five)
	if _, _, err := configure(t, with{"file": "."}); err == nil || !strings.HasPrefix(err.Error(), `setting "file": b.parquet: is of another device`) {
		t.Errorf("two devices: %v", err)
	}
	saveOwn(t, "b.parquet", "adc0", five)
	driver, _ := mustConfigure(t, with{"file": ".", "speed": 0})
	frames, err := play(t.Context(), driver)
	want := `b.parquet: row 1: column "scan_sequence": 5 comes after 5: these rows are not one recording in its order`
	if err == nil || err.Error() != want || len(scans(frames, 0)) != 2 {
		t.Errorf("%d scans, error %v, want 2, %s", len(scans(frames, 0)), err, want)
	}
	if err := os.Rename("a.parquet", "c.parquet"); err != nil {
		t.Fatal(err)
	}
	if _, err := play(t.Context(), driver); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("error %v, want that a file is gone", err)
	}
}

func TestAFolderWhoseNameIsAPattern(t *testing.T) {
	t.Chdir(t.TempDir())
	folder := "r[1]*"
	if err := os.Mkdir(folder, 0o700); err != nil {
		t.Fatal(err)
	}
	save(t, filepath.Join(folder, "r.parquet"), measurements())
	if frames := mustPlay(t, with{"file": folder, "speed": 0}); len(scans(frames, 0)) != 7 {
		t.Errorf("%d scans", len(scans(frames, 0)))
	}
}

// TestUncertaintiesOfTheTimesAreGivenAgain has three of them in four scans that follow on each other.
func TestUncertaintiesOfTheTimesAreGivenAgain(t *testing.T) {
	t.Chdir(t.TempDir())
	row := func(sequence, uncertainty int64) timedRow {
		return timedRow{Sequence: sequence, Monotonic: 10 * sequence, Wall: 1e18 + 10*sequence, Uncertainty: uncertainty, Code: number32(1)}
	}
	saveRows(t, "a.parquet", "adc0", []timedRow{row(1, 7), row(2, 7), row(3, 0), row(4, 9)})
	type stretch struct{ scans, nanos int64 }
	var got []stretch
	for _, f := range mustPlay(t, with{"file": "a.parquet", "speed": 0}) {
		got = append(got, stretch{int64(f.ScanCount), f.TimeUncertaintyNanos})
	}
	if want := []stretch{{2, 7}, {1, 0}, {1, 9}}; !slices.Equal(got, want) {
		t.Errorf("%v, want %v", got, want)
	}
	saveRows(t, "a.parquet", "adc0", []timedRow{row(1, 7), row(2, -1)})
	driver, _ := mustConfigure(t, with{"file": "a.parquet", "speed": 0})
	frames, err := play(t.Context(), driver)
	if want := `a.parquet: row 2: column "scan_time_uncertainty_nanos": -1 is below 0`; err == nil || err.Error() != want || len(frames) != 1 {
		t.Errorf("%d frames, %v, want %s", len(frames), err, want)
	}
}
