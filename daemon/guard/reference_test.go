package guard

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"strconv"
	"testing"

	"github.com/ampledger/ampledger/daemon/scan"
)

// curveOf names the reference tables' curves as the configuration does.
var curveOf = map[string]string{
	"IEC-A": "iec-standard-inverse", "IEC-B": "iec-very-inverse", "IEC-C": "iec-extremely-inverse",
	"IEEE-MI": "ieee-moderately-inverse", "IEEE-VI": "ieee-very-inverse", "IEEE-EI": "ieee-extremely-inverse",
	"UK-LTI": "long-time-inverse",
}

// TestCurveConstants holds the constants against the tables of IEC 60255-151:2009 Annex A, IEEE Std C37.112-2018 and, for the long-time
// inverse, BS 142 practice.
func TestCurveConstants(t *testing.T) {
	rows := reference(t, "inverse_time_curves.csv")
	if len(rows) != len(curves) {
		t.Fatalf("%d curves, the tables have %d", len(curves), len(rows))
	}
	for _, row := range rows {
		c := findCurve(curveOf[row["id"]])
		if c == nil {
			t.Fatalf("no curve for %s", row["id"])
		}
		want := curve{c.name, value(t, row, "k"), value(t, row, "alpha"), value(t, row, "c"), value(t, row, "t_r"), value(t, row, "alpha") >= 1}
		if *c != want {
			t.Errorf("%s: %+v, want %+v", row["id"], *c, want)
		}
	}
}

// TestReferenceTimes feeds a live element at 1 kHz until it operates or is reset, for every row of the table computed from IEC 60255-151 and
// IEEE Std C37.112 (30 of the IEEE rows are also printed, to 3 decimals, in a public technical manual), at TM = 1.
func TestReferenceTimes(t *testing.T) {
	for _, row := range reference(t, "inverse_time_operate_times.csv") {
		multiple := value(t, row, "M")
		t.Run(fmt.Sprintf("%s/%s/%v", row["id"], row["kind"], multiple), func(t *testing.T) {
			t.Parallel()
			bench := newBench(t, inverseTime(curveOf[row["id"]], 100, 1))
			var took float64
			if row["kind"] == "operate" {
				took = bench.operate(multiple * 100)
			} else {
				bench.operate(2000)
				took = bench.reset(multiple * 100)
			}
			withinOneScan(t, took, value(t, row, "t_s"), 0)
			if row["printed_s"] != "" {
				withinOneScan(t, took, value(t, row, "printed_s"), 0.0005)
			}
		})
	}
}

// The time multiplier scales both times.
func TestTimeMultiplierScales(t *testing.T) {
	bench := newBench(t, inverseTime("ieee-very-inverse", 100, 2.5))
	withinOneScan(t, bench.operate(500), 2.5*1.308083333, 0) // rows IEEE-VI, M = 5 and M = 0.5 of the same table
	withinOneScan(t, bench.reset(50), 2.5*28.8, 0)
}

func withinOneScan(t *testing.T, got, want, rounding float64) {
	t.Helper()
	if math.Abs(got-want) > 0.001+rounding+1e-9 {
		t.Errorf("took %.4f s, want %.4f s to one scan of 1 ms", got, want)
	}
}

// bench injects constant currents at 1 kHz, as a relay test set does.
type bench struct {
	t     *testing.T
	guard *Guard
	frame *scan.Readings
}

func newBench(t *testing.T, s Setting) *bench {
	return &bench{t, must(t, s), constant(0, 1000)}
}

// operate injects until the element operates and gives the time from pickup.
func (b *bench) operate(amperes float64) float64 {
	c := b.until(Operated, amperes)
	return float64(c.At.Monotonic-c.Onset.Monotonic) / second
}

// reset injects until the element is reset and gives the time from the end of the current before.
func (b *bench) reset(amperes float64) float64 {
	end := b.frame.Monotonic - millisecond
	return float64(b.until(Cleared, amperes).At.Monotonic-end) / second
}

func (b *bench) until(state State, amperes float64) (found Change) {
	b.t.Helper()
	for k := range b.frame.Amperes {
		b.frame.Amperes[k] = amperes
	}
	settle(b.frame)
	for range 2000 {
		for _, c := range collect(b.guard, b.frame) {
			if c.State == state {
				found = c
			}
		}
		b.frame.Monotonic += second
		b.frame.Sequence += 1000
		if found.Event != 0 {
			return found
		}
	}
	b.t.Fatalf("not %v after %v s at %v A", state, b.frame.Monotonic/second, amperes)
	return found
}

// reference reads a table of testdata/reference, each row by column.
func reference(t *testing.T, name string) (rows []map[string]string) {
	file, err := os.Open("../../testdata/reference/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	reader := csv.NewReader(file)
	reader.Comment = '#'
	records, err := reader.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, record := range records[1:] {
		row := make(map[string]string)
		for i, cell := range record {
			row[records[0][i]] = cell
		}
		rows = append(rows, row)
	}
	return rows
}

// value reads a cell; an empty one is 0.
func value(t *testing.T, row map[string]string, column string) float64 {
	if row[column] == "" {
		return 0
	}
	x, err := strconv.ParseFloat(row[column], 64)
	if err != nil {
		t.Fatal(err)
	}
	return x
}
