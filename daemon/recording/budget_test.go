package recording

import (
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"
)

func TestTheOldestCompleteFileGoesFirst(t *testing.T) {
	folder := t.TempDir()
	put := func(device string, sequence int64, minute int, suffix string) string {
		n := name{device, sequence, time.Date(2030, 1, 1, 0, minute, 0, 0, time.UTC)}.String() + suffix
		if err := os.WriteFile(filepath.Join(folder, n), make([]byte, 100), 0o600); err != nil {
			t.Fatal(err)
		}
		return n
	}
	// b's clock was set back between its files: its first one still goes before its second.
	a1, a2, b1, b2 := put("a", 10, 5, ""), put("a", 20, 15, ""), put("b", 1, 10, ""), put("b", 2, 0, "")
	open, foreign := put("a", 30, 0, ".part"), "notes.parquet"
	if err := os.WriteFile(filepath.Join(folder, foreign), make([]byte, 100_000), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		budget int64
		gone   []string
	}{{500, nil}, {499, []string{a1}}, {350, []string{b1}}, {200, []string{b2}}, {0, []string{a2}}} {
		var gone []string
		err := keepBudget(folder, c.budget, func(path string, bytes int64) {
			if gone = append(gone, filepath.Base(path)); bytes != 100 {
				t.Errorf("%s had %d bytes", path, bytes)
			}
		})
		if err != nil || !slices.Equal(gone, c.gone) {
			t.Errorf("a budget of %d: removed %v, %v; want %v", c.budget, gone, err, c.gone)
		}
	}
	if left := files(t, folder, "*"); !slices.Equal(left, []string{filepath.Join(folder, open), filepath.Join(folder, foreign)}) {
		t.Errorf("left %v, want what is being written and what is not ours", left)
	}
}

func TestARecorderKeepsItsBudget(t *testing.T) {
	settings := quiet(t.TempDir())
	settings.RowGroupScans, settings.RotateBytes, settings.BudgetBytes = 1000, 64<<10, 128<<10
	removed := int64(0)
	recorder, err := New(settings, Told{OnRemoved: func(_ string, bytes int64) { removed += bytes }})
	if err != nil {
		t.Fatal(err)
	}
	track, err := recorder.Track(head())
	if err != nil {
		t.Fatal(err)
	}
	from := newSource(1)
	for range 100 {
		track.Frame(from.next(1000))
		recorder.writeAll(false)
		all, err := list(settings.Folder)
		if err != nil {
			t.Fatal(err)
		}
		total := int64(0)
		for _, e := range all {
			total += e.bytes
		}
		if total > settings.BudgetBytes {
			t.Fatalf("%d bytes, the budget is %d", total, settings.BudgetBytes)
		}
	}
	if err := recorder.finish(); err != nil {
		t.Fatal(err)
	}
	if removed == 0 {
		t.Error("nothing was removed")
	}
}
