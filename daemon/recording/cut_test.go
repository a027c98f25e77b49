package recording

import (
	"errors"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// segments records a file of several row groups and gives its bytes, where each segment ends, and how many rows there are until there.
func segments(t *testing.T) (text []byte, ends []int, counts []int, rows []row) {
	t.Helper()
	folder := t.TempDir()
	settings := quiet(folder)
	settings.RowGroupScans, settings.QueuedRowGroups = 100, 64
	r := start(t, settings, Told{})
	track, from := r.track(t), newSource(3)
	for range 10 {
		f := from.next(100)
		track.Frame(f)
		rows = append(rows, rowsOf(f)...)
	}
	if err := r.stop(); err != nil {
		t.Fatal(err)
	}
	path := files(t, folder, "*.parquet")[0]
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	file, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	for at := int64(len(magic)); ; {
		_, end, sound, err := openSegment(file, at, int64(len(text)))
		if err != nil {
			t.Fatal(err)
		}
		if !sound {
			return text, ends, counts, rows
		}
		ends, counts, at = append(ends, int(end)), append(counts, 100*(len(counts)+1)), end
	}
}

// write puts a file that is not complete into a folder of its own.
func write(t *testing.T, text []byte) (path string) {
	t.Helper()
	path = filepath.Join(t.TempDir(), "adc0_0000000000000000001_20300101T000000Z.parquet.part")
	if err := os.WriteFile(path, text, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// wantRecovered recovers a damaged file and wants so many rows, and the rest of it gone. none = there is nothing to recover.
func wantRecovered(t *testing.T, text []byte, want []row) {
	t.Helper()
	path := write(t, text)
	saved, err := Recover(path)
	if len(want) == 0 {
		if !errors.Is(err, ErrNothing) {
			t.Errorf("error %v, want that nothing is in it", err)
		}
		return
	}
	if err != nil {
		t.Fatal(err)
	}
	got, _ := replayed(t, saved.Path)
	if saved.Scans != int64(len(want)) || !slices.Equal(got, asReplayed(want)) {
		t.Errorf("recovered %+v, want %d rows: %.500s", saved, len(want), cmp.Diff(asReplayed(want), got))
	}
	if len(text)%8 == 0 { // it is slow
		again, _ := readIndependently(t, saved.Path)
		compareRows(t, want, again)
	}
	if left := files(t, filepath.Dir(path), "*"); len(left) != 1 {
		t.Errorf("files %v, want only the recovered one", left)
	}
}

func TestACutAnywhereIsRecovered(t *testing.T) {
	text, ends, counts, rows := segments(t)
	if len(ends) != 10 {
		t.Fatalf("%d segments", len(ends))
	}
	cuts := []int{0, 1, 3, 4, 5, 8, 12, 20, 21, len(text) - 1, len(text)}
	for _, end := range ends {
		cuts = append(cuts, end-17, end-1, end, end+1, end+3, end+4, end+5, end+16)
	}
	random := rand.New(rand.NewPCG(1, 1))
	for range 200 {
		cuts = append(cuts, random.IntN(len(text)))
	}
	for _, cut := range cuts {
		have := 0
		for i, end := range ends {
			if cut >= end {
				have = counts[i]
			}
		}
		wantRecovered(t, text[:min(cut, len(text))], rows[:have])
	}
}

func TestDamage(t *testing.T) {
	text, ends, _, rows := segments(t)
	for name, c := range map[string]struct {
		damage func(text []byte) []byte
		rows   int
	}{
		"zeros at the end, as after a power cut": {func(text []byte) []byte { return append(text[:ends[4]], make([]byte, 5000)...) }, 500},
		"pages of zeros in the last row group":   {func(text []byte) []byte { clear(text[ends[8]+500 : ends[8]+900]); return text[:ends[9]] }, 900},
		"one bit of a body":                      {func(text []byte) []byte { text[ends[2]+200] ^= 4; return text }, 300},
		"one bit of a length":                    {func(text []byte) []byte { text[ends[2]+9] ^= 1; return text }, 300},
		"the greatest length":                    {func(text []byte) []byte { copy(text[ends[2]+8:], "\xff\xff\xff\xff\xff\xff\xff\xff"); return text }, 300},
		"one bit of a checksum":                  {func(text []byte) []byte { text[ends[0]+5] ^= 128; return text }, 100},
		"the first mark":                         {func(text []byte) []byte { text[8]--; return text }, 0},
		"the whole file, complete":               {func(text []byte) []byte { return text }, 1000},
	} {
		t.Run(name, func(t *testing.T) { wantRecovered(t, c.damage(slices.Clone(text)), rows[:c.rows]) })
	}
}

func TestWhatWasCutOffIsTold(t *testing.T) {
	text, ends, _, _ := segments(t)
	footer := text[ends[9]:]
	for name, c := range map[string]struct {
		rest []byte
		cut  int64
	}{
		"nothing": {nil, 0}, "half a footer": {footer[:100], 0}, "the footer": {footer, 0},
		"half a row group": {text[ends[0] : ends[0]+500], 500}, "something else": {[]byte("xyz"), 3}, "more than a footer": {append(slices.Clone(footer), 0), int64(len(footer)) + 1},
	} {
		saved, err := Recover(write(t, append(slices.Clone(text[:ends[9]]), c.rest...)))
		if err != nil || saved.CutOff != c.cut || saved.RowGroups != 10 {
			t.Errorf("%s: %+v, %v, want %d bytes cut off", name, saved, err, c.cut)
		}
	}
}

func TestAKillDuringRecoveryIsRecovered(t *testing.T) {
	text, ends, _, rows := segments(t)
	footer := text[ends[9]:]
	for n := 0; n <= len(footer); n += 397 {
		wantRecovered(t, append(slices.Clone(text[:ends[9]]), footer[:n]...), rows)
	}
}

func TestWhatIsNotRecovered(t *testing.T) {
	text, _, _, _ := segments(t)
	complete := filepath.Join(filepath.Dir(write(t, text)), "x.parquet")
	if err := os.WriteFile(complete, text, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Recover(complete); !errors.Is(err, ErrNotOpen) {
		t.Errorf("a complete file: %v", err)
	}
	for _, foreign := range []string{"SQLite format 3", "PAR1\x15\x04\x15\x10"} {
		path := write(t, []byte(foreign))
		if _, err := Recover(path); !errors.Is(err, ErrForeign) {
			t.Errorf("%q: %v", foreign, err)
		}
		if left, err := os.ReadFile(path); err != nil || string(left) != foreign {
			t.Errorf("%q became %q, %v", foreign, left, err)
		}
	}
	if _, err := Recover(filepath.Join(t.TempDir(), "x.parquet.part")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("no file: %v", err)
	}
	text = text[:len(text)-1]
	path := write(t, text)
	if err := os.WriteFile(completeName(path), []byte("in the way"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Recover(path); err == nil {
		t.Error("a complete file of that name was written over")
	}
	if left, err := os.ReadFile(path); err != nil || !slices.Equal(left, text) {
		t.Errorf("what could not be renamed was changed, %v", err)
	}
}
