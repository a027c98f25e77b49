package replay

import (
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"google.golang.org/protobuf/testing/protocmp"

	"github.com/ampledger/ampledger/plugins/plugin"
)

func mustPlay(t *testing.T, settings with) []*plugin.Frame {
	t.Helper()
	driver, _ := mustConfigure(t, settings)
	frames, err := play(t.Context(), driver)
	if err != nil {
		t.Fatal(err)
	}
	return frames
}

func TestFrames(t *testing.T) {
	write(t, "# x\nt,a,mode,b\n0,1,x,\n0.1,2,x,5\n0.2,3,y,\n# y\n0.5,4,y,6\n0.5,,y,7\n0.3,inf,z,8\n1.0,9,z,9\n")
	got := mustPlay(t, with{"speed": 0, "frame_scans": 3})
	want := []*plugin.Frame{
		{ScanCount: 3, PeriodNanos: 1e8, Columns: []*plugin.Column{{Values: []float64{1, 2, 3}}, {Values: []float64{0, 5, 0}, AbsentIndices: []uint32{0, 2}}}},
		{FirstSequence: 3, ScanCount: 3, FirstMonotonicNanos: 5e8, FirstWallNanos: 5e8, OffsetNanos: []int64{0, 0, -2e8},
			Columns: []*plugin.Column{{Values: []float64{4, 0, math.Inf(1)}, AbsentIndices: []uint32{1}}, {Values: []float64{6, 7, 8}}}},
		{FirstSequence: 6, ScanCount: 1, FirstMonotonicNanos: 1e9, FirstWallNanos: 1e9, OffsetNanos: []int64{0}, Columns: []*plugin.Column{{Values: []float64{9}}, {Values: []float64{9}}}},
	}
	if diff := cmp.Diff(want, got, protocmp.Transform()); diff != "" {
		t.Errorf("frames (-want +got):\n%s", diff)
	}
}

func TestConversion(t *testing.T) {
	write(t, "t,a\n0,1\n1,-2.25\n2,400\n3,-400\n4,nan\n5,-inf\n6,\n")
	frames := mustPlay(t, with{"speed": 0, "inputs": []any{
		with{"name": "scaled", "column": "a", "scale": -2, "offset": 0.5, "unit": "V"},
		with{"name": "code", "column": "a", "scale": 2, "unit": "code", "bits": 8},
		with{"name": "unsigned", "column": "a", "offset": 1, "unit": "code", "bits": 8, "signed": false},
	}})
	want := []*plugin.Column{
		{Values: []float64{-1.5, 5, -799.5, 800.5, math.NaN(), math.Inf(1), 0}, AbsentIndices: []uint32{6}},
		{Codes: []int32{2, -4, 127, -128, 0, -128, 0}, AbsentIndices: []uint32{4, 6}},
		{Codes: []int32{2, 0, 255, 0, 0, 0, 0}, AbsentIndices: []uint32{4, 6}},
	}
	if diff := cmp.Diff(want, frames[0].Columns, protocmp.Transform(), cmpopts.EquateNaNs()); diff != "" {
		t.Errorf("columns (-want +got):\n%s", diff)
	}
}

func TestFaultComesAfterTheScansBefore(t *testing.T) {
	for name, c := range map[string]struct {
		row, want string
	}{
		"value":       {"9,abc,5", `r.csv:7: column "a": "abc" is no number`},
		"later value": {"9,,0x5", `r.csv:7: column "b": "0x5" is no number`},
		"code":        {"9,1,3e9", `r.csv:7: column "b": 3e+09 is beyond the 32 bits of a code`},
		"time":        {"1:30,1,5", `r.csv:7: column "t": "1:30" is no time in seconds`},
		"no time":     {",1,5", `r.csv:7: column "t": empty, every row needs a time in seconds`},
		"time is nan": {"NaN,1,5", `r.csv:7: column "t": "NaN" is no time in seconds`},
		"ragged":      {"9,1", `r.csv:7: 2 cells where the header has 3 columns`},
		"quote":       {`9,"1,5`, `r.csv:7: a quote is opened and not closed on its line`},
	} {
		t.Run(name, func(t *testing.T) {
			write(t, "t,a,b\n# x\n0,1,1\n1,2,\n2,,3\n3,4,4\n"+c.row+"\n4,5,5\n")
			driver, _ := mustConfigure(t, with{"speed": 0, "frame_scans": 3, "inputs": []any{with{"name": "a"}, with{"name": "b", "unit": "code"}}})
			frames, err := play(t.Context(), driver)
			if err == nil || err.Error() != c.want {
				t.Errorf("error %v, want %s", err, c.want)
			}
			for input, want := range [][]float64{{1, 2, 0, 4}, {1, 0, 3, 4}} {
				if got := values(scans(frames, input)); !slices.Equal(got, want) {
					t.Errorf("input %d: %v before the fault, want %v", input, got, want)
				}
			}
			if last := frames[len(frames)-1].Columns; len(last[0].AbsentIndices)+len(last[1].AbsentIndices) != 0 {
				t.Errorf("the faulty row left absent values behind: %v", last)
			}
		})
	}
}

func TestWhere(t *testing.T) {
	write(t, "record,t,a,mode\n1,0,1,\"a,b\"\n1,1,2,c\n2,0,3,\"a,b\"\n2,1,4,c\n1,2,5,\"a,b\"\n")
	for name, c := range map[string]struct {
		where with
		want  []scanned
	}{
		"one":  {with{"record": "2"}, []scanned{{0, 0, 0, 3, false}, {1, 1e9, 1e9, 4, false}}},
		"both": {with{"record": "1", "mode": "a,b"}, []scanned{{0, 0, 0, 1, false}, {1, 2e9, 2e9, 5, false}}},
	} {
		t.Run(name, func(t *testing.T) {
			frames := mustPlay(t, with{"speed": 0, "time_column": "t", "where": c.where, "inputs": []any{with{"name": "a"}}})
			if diff := cmp.Diff(c.want, scans(frames, 0)); diff != "" {
				t.Errorf("scans (-want +got):\n%s", diff)
			}
		})
	}
}

func TestWindow(t *testing.T) {
	write(t, "t,a\n0,1\n1.5,2\n3,3\n2,4\n4.5,5\n")
	for name, c := range map[string]struct {
		settings with
		want     []scanned
	}{
		"both ends are in it":       {with{"from_seconds": 1.5, "to_seconds": 3}, []scanned{{0, 15e8, 15e8, 2, false}, {1, 3e9, 3e9, 3, false}, {2, 2e9, 2e9, 4, false}}},
		"only a beginning":          {with{"from_seconds": 4}, []scanned{{0, 45e8, 45e8, 5, false}}},
		"only an end":               {with{"to_seconds": 0}, []scanned{{0, 0, 0, 1, false}}},
		"a beginning before zero":   {with{"from_seconds": -1, "to_seconds": 1}, []scanned{{0, 0, 0, 1, false}}},
		"an end after the last row": {with{"from_seconds": 4.5, "to_seconds": 99}, []scanned{{0, 45e8, 45e8, 5, false}}},
	} {
		t.Run(name, func(t *testing.T) {
			c.settings["speed"] = 0
			if diff := cmp.Diff(c.want, scans(mustPlay(t, c.settings), 0)); diff != "" {
				t.Errorf("scans (-want +got):\n%s", diff)
			}
		})
	}
}

// TestCutOfFramesChangesNothing plays a recording with gaps and a repeated time in frames of several sizes.
func TestCutOfFramesChangesNothing(t *testing.T) {
	const file = "../../../testdata/recordings/drive_us06_25c_10hz.csv"
	want := scans(mustPlay(t, with{"file": file, "speed": 0}), 0)
	if len(want) != 48061 {
		t.Fatalf("%d scans, want the 48061 that the header states", len(want))
	}
	for _, size := range []int{1, 3, 999, 100_000} {
		frames := mustPlay(t, with{"file": file, "speed": 0, "frame_scans": size})
		if len(frames) != (len(want)+size-1)/size {
			t.Errorf("%d frames of %d", len(frames), size)
		}
		if got := scans(frames, 0); !slices.Equal(got, want) {
			t.Errorf("frames of %d give other scans", size)
		}
	}
}

// TestRecordingsReadAsTheirHeadersState integrates by trapezoid what was played, as the `check:` lines did.
func TestRecordingsReadAsTheirHeadersState(t *testing.T) {
	for file, c := range map[string]struct {
		scans int
		ah    float64
	}{
		"drive_us06_25c_10hz":           {48061, -2.58630},
		"cell_c20_discharge_charge_60s": {2453, -0.38106},
		"zero_current_rest_48h":         {2939, 0.2159},
	} {
		frames := mustPlay(t, with{"file": "../../../testdata/recordings/" + file + ".csv", "speed": 0, "inputs": []any{with{"name": "current_a", "unit": "A"}}})
		all, coulombs := scans(frames, 0), 0.0
		for i := 1; i < len(all); i++ {
			coulombs += (all[i].Value + all[i-1].Value) / 2 * float64(all[i].At-all[i-1].At) / 1e9
		}
		if ah := coulombs / 3600; len(all) != c.scans || math.Abs(ah-c.ah) > 0.00005 {
			t.Errorf("%s: %d scans, %.5f Ah, want %d, %.5f", file, len(all), ah, c.scans, c.ah)
		}
	}
}

func TestMemoryIsBounded(t *testing.T) {
	write(t, "t,a\n"+strings.Repeat("1,2\n", 300_000))
	driver, _ := mustConfigure(t, with{"speed": 0})
	allocated := testing.AllocsPerRun(1, func() {
		if err := driver.Stream(t.Context(), func(*plugin.Frame) error { return nil }); err != nil {
			t.Fatal(err)
		}
	})
	if allocated > 200 {
		t.Errorf("%v allocations for 300000 rows, want only those of the start", allocated)
	}
}
