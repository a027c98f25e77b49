package store_test

import (
	"bytes"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/ampledger/ampledger/daemon/store"
	"github.com/ampledger/ampledger/daemon/store/storetest"
)

// filled makes a closed store with something in it.
func filled(t *testing.T) (path string) {
	t.Helper()
	path = filepath.Join(t.TempDir(), "ampledger.db")
	s := must(store.Open(path))(t)
	for n := range 50 {
		append1(t, s, entry("pack", "shunt", n), gap(4), gap(5))
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	return path
}

// cut leaves the first so many bytes, or, if negative, takes so many off the end.
func cut(bytes int64) func(*testing.T, string) {
	return func(t *testing.T, path string) {
		file := must(os.Stat(path))(t)
		if bytes < 0 {
			bytes += file.Size()
		}
		if err := os.Truncate(path, bytes); err != nil {
			t.Fatal(err)
		}
	}
}

// do runs a statement in the file with a connection of its own.
func do(query string) func(*testing.T, string) {
	return func(t *testing.T, path string) {
		db := must(sql.Open("sqlite", path))(t)
		defer db.Close()
		must(db.Exec(query))(t)
	}
}

// TestRefused spoils a file in every way that opening must notice. The file is left alone.
func TestRefused(t *testing.T) {
	for name, row := range map[string]struct {
		spoil func(*testing.T, string)
		want  error
	}{
		"empty":                {cut(0), store.ErrDamaged},
		"one byte left":        {cut(1), store.ErrForeign},
		"half a header left":   {cut(50), store.ErrDamaged},
		"one page left":        {cut(4096), store.ErrDamaged},
		"half a page off":      {cut(-2048), store.ErrDamaged},
		"one byte off":         {cut(-1), store.ErrDamaged},
		"one page off":         {cut(-4096), store.ErrDamaged},
		"text":                 {func(t *testing.T, path string) { write(t, path, bytes.Repeat([]byte("ampere "), 1000)) }, store.ErrForeign},
		"other application":    {do("PRAGMA application_id = 7"), store.ErrForeign},
		"no application":       {do("PRAGMA application_id = 0"), store.ErrForeign},
		"newer":                {do(fmt.Sprintf("PRAGMA user_version = %d", store.NewestSchema+1)), store.ErrNewer},
		"gone but for the log": {func(t *testing.T, path string) { move(t, path, path+"-wal") }, store.ErrDamaged},
		"a folder": {func(t *testing.T, path string) {
			if err := errors.Join(os.Remove(path), os.Mkdir(path, 0o700)); err != nil {
				t.Fatal(err)
			}
		}, store.ErrForeign},
	} {
		t.Run(name, func(t *testing.T) {
			path := filled(t)
			row.spoil(t, path)
			before, _ := os.ReadFile(path)
			s, err := store.Open(path)
			if err == nil {
				s.Close()
			}
			if !errors.Is(err, row.want) || !strings.Contains(fmt.Sprint(err), path) {
				t.Errorf("got %v, want %v with the path", err, row.want)
			}
			if after, _ := os.ReadFile(path); !bytes.Equal(before, after) {
				t.Error("the file was changed")
			}
		})
	}
}

func write(t *testing.T, path string, content []byte) {
	t.Helper()
	if err := os.WriteFile(path, content, 0o600); err != nil {
		t.Fatal(err)
	}
}

func move(t *testing.T, from, to string) {
	t.Helper()
	if err := os.Rename(from, to); err != nil {
		t.Fatal(err)
	}
}

// copyCrashed copies an open store's files, as a crash would leave them.
func copyCrashed(t *testing.T, s *store.Store) (path string) {
	t.Helper()
	path = filepath.Join(t.TempDir(), "crashed.db")
	for _, suffix := range []string{"", "-wal"} {
		write(t, path+suffix, must(os.ReadFile(s.Path()+suffix))(t))
	}
	return path
}

// TestCrashed spoils a file whose log was not tidied away.
func TestCrashed(t *testing.T) {
	for name, row := range map[string]struct {
		spoil   func(*testing.T, string)
		want    error
		entries uint64 // that must survive
	}{
		"nothing else":         {func(*testing.T, string) {}, nil, 8},
		"log cut in the end":   {func(t *testing.T, path string) { cut(-100)(t, path+"-wal") }, nil, 7},
		"log gone":             {func(t *testing.T, path string) { cut(0)(t, path+"-wal") }, nil, 5},
		"last commit flipped":  {func(t *testing.T, path string) { flip(t, path+"-wal", -50) }, nil, 7},
		"file cut, log intact": {cut(8192), store.ErrDamaged, 0},
		"page of the file gone": {func(t *testing.T, path string) {
			content := must(os.ReadFile(path))(t)
			clear(content[len(content)-4096:]) // not in the log
			write(t, path, content)
		}, store.ErrDamaged, 0},
	} {
		t.Run(name, func(t *testing.T) {
			s := storetest.Open(t)
			for n := range 8 {
				append1(t, s, entry("pack", "shunt", n))
				if n == 4 { // the first five are in the file
					must(s.Writer().Exec("PRAGMA wal_checkpoint(TRUNCATE)"))(t)
				}
			}
			path := copyCrashed(t, s)
			row.spoil(t, path)
			if row.want != nil {
				refusedAsItIs(t, path, row.want)
				return
			}
			after := storetest.OpenAt(t, path)
			if newest, _, err := after.Newest(t.Context()); newest != row.entries || err != nil {
				t.Errorf("%d entries, want %d (%v)", newest, row.entries, err)
			}
			if at := append1(t, after, entry("pack", "shunt", 9)); at != row.entries+1 {
				t.Errorf("goes on with %d", at)
			}
		})
	}
}

// refusedAsItIs wants a file with a log to be refused, with a remedy, and both to be left as they are.
func refusedAsItIs(t *testing.T, path string, want error) {
	t.Helper()
	both := func() string {
		return string(must(os.ReadFile(path))(t)) + string(must(os.ReadFile(path+"-wal"))(t))
	}
	before := both()
	s, err := store.Open(path)
	if !errors.Is(err, want) || !strings.Contains(fmt.Sprint(err), "`ampledger recover "+path+" OUT`") {
		t.Errorf("got %v, %v, want %v", s, err, want)
	}
	if both() != before {
		t.Error("the file or its log was changed")
	}
}

// TestPagesGone takes a page of each table and index away from a file that was closed: it is refused, or does no harm to the ledger, and
// what is found only later names the remedy.
func TestPagesGone(t *testing.T) {
	b := toDamage(t)
	for name, refused := range map[string]bool{
		"entries": true, "gaps": true, "events": true, "devices": true, "daemon": true, "snapshots": true, "acknowledgements": true, "clock": true, "commissioning": true,
		"entries_of_channel": true, "events_of_conductor": true, "events_of_id": true, "waveforms": false, "waveform_frames": false,
	} {
		path := b.damagedBy(t, zero(b.pageOf(t, name, 0)))
		s, err := store.Open(path)
		if refused != errors.Is(err, store.ErrDamaged) || (s != nil) == refused {
			t.Errorf("without its page of %s: %v", name, err)
		}
		if s == nil {
			continue
		}
		append1(t, s, entry("pack", "shunt", 200))
		if err := s.PutWaveforms(t.Context(), []store.WaveformPart{waveform("a", 1, 0, 1)}); !isOneOf(err, store.ErrDamaged) ||
			!strings.Contains(err.Error(), "ampledger recover "+path) {
			t.Errorf("storing in %s: %v", name, err)
		}
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	}
}

// flip turns a byte, counted from the end.
func flip(t *testing.T, path string, at int64) {
	t.Helper()
	file := must(os.OpenFile(path, os.O_RDWR, 0))(t)
	defer file.Close()
	place := must(file.Seek(at, io.SeekEnd))(t)
	var one [1]byte
	must(file.ReadAt(one[:], place))(t)
	one[0] ^= 0x10
	must(file.WriteAt(one[:], place))(t)
}

// TestModes looks at who may read what Open makes, and that an open file is tightened.
func TestModes(t *testing.T) {
	folder := filepath.Join(t.TempDir(), "made", "here")
	path := filepath.Join(folder, "ampledger.db")
	write := func() {
		s := storetest.OpenAt(t, path)
		append1(t, s, entry("pack", "shunt", 0))
		for name, want := range map[string]os.FileMode{folder: 0o700, path: 0o600, path + "-wal": 0o600, path + "-shm": 0o600} {
			if got := must(os.Stat(name))(t).Mode().Perm(); got != want {
				t.Errorf("%s is %o, want %o", name, got, want)
			}
		}
		if err := s.Close(); err != nil {
			t.Error(err)
		}
		if left := must(os.ReadDir(folder))(t); len(left) != 1 {
			t.Errorf("left behind: %v", left)
		}
	}
	write()
	if err := os.Chmod(path, 0o664); err != nil {
		t.Fatal(err)
	}
	write()
}

// TestUnfinished finds what a crash while making the file leaves.
func TestUnfinished(t *testing.T) {
	path := filepath.Join(t.TempDir(), "ampledger.db")
	for _, suffix := range []string{".new", ".new-wal", ".new-shm"} {
		write(t, path+suffix, []byte("torn"))
	}
	append1(t, storetest.OpenAt(t, path), entry("pack", "shunt", 0))
}

// TestSettings looks at what every connection was told.
func TestSettings(t *testing.T) {
	s := storetest.Open(t)
	for pragma, want := range map[string]string{
		"journal_mode": "wal", "synchronous": "2", "foreign_keys": "1", "busy_timeout": "5000", "application_id": "1097691212",
		"user_version": fmt.Sprint(store.NewestSchema),
	} {
		for name, db := range map[string]*sql.DB{"writer": s.Writer(), "reader": s.Readers()} {
			var got string
			if err := db.QueryRow("PRAGMA " + pragma).Scan(&got); err != nil || got != want {
				t.Errorf("%s of the %s is %s, want %s (%v)", pragma, name, got, want, err)
			}
		}
	}
	if err := errors.Join(s.Close(), s.Close()); err != nil {
		t.Errorf("closing twice: %v", err)
	}
	if _, err := s.Append(t.Context(), batch2(t)); err == nil {
		t.Error("a closed store takes entries")
	}
}
