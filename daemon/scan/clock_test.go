package scan_test

import (
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"github.com/ampledger/ampledger/daemon/scan"
)

func TestClock(t *testing.T) {
	regular := scan.Clock{Epoch: 2, Sequence: 10, Wall: 1000, Monotonic: 50, Period: 5}
	irregular := scan.Clock{Epoch: 2, Sequence: 10, Wall: 1000, Monotonic: 50, Offsets: []int64{0, 3, 20, 19}}
	for _, c := range []struct {
		name     string
		clock    scan.Clock
		at, wall []int64
	}{
		{"regular", regular, []int64{50, 55, 60, 65}, []int64{1000, 1005, 1010, 1015}},
		{"irregular", irregular, []int64{50, 53, 70, 69}, []int64{1000, 1003, 1020, 1019}},
		{"first scan is off its own offset", scan.Clock{Wall: 1000, Monotonic: 50, Offsets: []int64{7}}, []int64{57}, []int64{1007}},
		{"regular, from the third", regular.From(2, 4), []int64{60, 65}, []int64{1010, 1015}},
		{"irregular, from the third", irregular.From(2, 4), []int64{70, 69}, []int64{1020, 1019}},
		{"irregular, the last but one of a part", ptr(irregular.From(1, 4)).From(1, 2), []int64{70}, []int64{1020}},
	} {
		t.Run(c.name, func(t *testing.T) {
			for k := range c.at {
				if at, wall := c.clock.At(k), c.clock.WallAt(k); at != c.at[k] || wall != c.wall[k] {
					t.Errorf("scan %d is at %d, labelled %d, want %d, %d", k, at, wall, c.at[k], c.wall[k])
				}
			}
		})
	}
	if cut := irregular.From(2, 3); cut.Sequence != 12 || cut.Epoch != 2 || len(cut.Offsets) != 1 {
		t.Errorf("%+v", cut)
	}
}

func ptr[T any](v T) *T { return &v }

// row is one scan as its consumers see it.
type row struct {
	Sequence     uint64
	At, Wall     int64
	Flag         scan.Quality
	Values       []float64
	ValuesFaults []scan.Quality
}

func rows(f *scan.Frame) (all []row) {
	for k := range f.Count {
		r := row{Sequence: f.Sequence + uint64(k), At: f.At(k), Wall: f.WallAt(k)}
		if f.Flags != nil {
			r.Flag = f.Flags[k]
		}
		for _, c := range f.Columns {
			r.Values, r.ValuesFaults = append(r.Values, c.At(k)), append(r.ValuesFaults, c.FlagAt(k))
		}
		all = append(all, r)
	}
	return all
}

func TestCutSharesMemoryAndReusesColumns(t *testing.T) {
	f := &scan.Frame{
		Clock: scan.Clock{Sequence: 7, Monotonic: 100, Offsets: []int64{0, 1, 5}}, Count: 3, Flags: []scan.Quality{0, scan.TimeBackwards, 0},
		Columns: []scan.Column{{Values: []float64{1, 2, 3}, Flags: []scan.Quality{0, 0, scan.Missing}}, {Values: []float64{25}}},
	}
	var cut scan.Frame
	f.Cut(1, 3, &cut)
	want := scan.Frame{
		Clock: scan.Clock{Sequence: 8, Monotonic: 100, Offsets: []int64{1, 5}}, Count: 2, Flags: []scan.Quality{scan.TimeBackwards, 0},
		Columns: []scan.Column{{Values: []float64{2, 3}, Flags: []scan.Quality{0, scan.Missing}}, {Values: []float64{25}}},
	}
	if diff := cmp.Diff(want, cut); diff != "" {
		t.Error(diff)
	}
	if &cut.Columns[0].Values[0] != &f.Columns[0].Values[1] {
		t.Error("values were copied")
	}
	f.Flags = nil
	if allocs := testing.AllocsPerRun(10, func() { f.Cut(0, 2, &cut) }); allocs != 0 || cut.Flags != nil {
		t.Errorf("%v allocations, flags %v of the cut before", allocs, cut.Flags)
	}
}

// Cutting, and cutting what was cut, shows the same scans: with constant columns, irregular times, flags of every kind.
func TestCutChangesNoScan(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := anyFrame(t)
		i := rapid.IntRange(0, f.Count-1).Draw(t, "from")
		j := rapid.IntRange(i+1, f.Count).Draw(t, "to")
		k := rapid.IntRange(i, j-1).Draw(t, "again")
		var cut, again scan.Frame
		f.Cut(i, j, &cut)
		cut.Cut(k-i, j-i, &again)
		if diff := cmp.Diff(rows(f)[i:j], rows(&cut)); diff != "" {
			t.Fatal(diff)
		}
		if diff := cmp.Diff(rows(f)[k:j], rows(&again)); diff != "" {
			t.Fatal(diff)
		}
	})
}

func anyFrame(t *rapid.T) *scan.Frame {
	f := &scan.Frame{Clock: scan.Clock{Epoch: 1, Sequence: 40, Wall: 1e15, Monotonic: -70}, Count: rapid.IntRange(1, 8).Draw(t, "scans")}
	if rapid.Bool().Draw(t, "regular") {
		f.Period = 1000
	} else {
		f.Offsets = rapid.SliceOfN(rapid.Int64Range(-100, 100), f.Count, f.Count).Draw(t, "offsets")
	}
	flags := func(n int) []scan.Quality {
		if rapid.Bool().Draw(t, "no flags") {
			return nil
		}
		return rapid.SliceOfN(rapid.SampledFrom(scan.Causes[:]), n, n).Draw(t, "flags")
	}
	f.Flags = flags(f.Count)
	for range 3 {
		n := rapid.SampledFrom([]int{1, f.Count}).Draw(t, "values")
		f.Columns = append(f.Columns, scan.Column{Values: rapid.SliceOfN(rapid.Float64(), n, n).Draw(t, "column"), Flags: flags(n)})
	}
	return f
}

func TestACutKeepsTheUncertaintyOfTheTimes(t *testing.T) {
	for _, c := range []scan.Clock{{Period: 10, Uncertainty: 7}, {Offsets: []int64{0, 3, 9}, Uncertainty: 7}} {
		f, part := scan.Frame{Clock: c, Count: 3}, scan.Frame{}
		if f.Cut(1, 3, &part); part.Uncertainty != 7 {
			t.Errorf("%+v was cut to %+v", f.Clock, part.Clock)
		}
	}
}
