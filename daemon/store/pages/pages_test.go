package pages_test

import (
	"bytes"
	"database/sql"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	_ "modernc.org/sqlite" // the driver

	"github.com/ampledger/ampledger/daemon/store/pages"
)

// read gives all rows of a file and its log, as text, sorted.
func read(t testing.TB, path string) (rows []string) {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	log, _ := os.ReadFile(path + "-wal")
	f, err := pages.Open(bytes.NewReader(data), int64(len(data)), bytes.NewReader(log), int64(len(log)))
	if err != nil {
		t.Fatal(err)
	}
	for page := range f.PageCount() {
		err := f.Rows(page+1, func(row pages.Row) error {
			if len(row.Values) == 6 { // of our two tables
				rows = append(rows, text(row))
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	slices.Sort(rows)
	return rows
}

func text(row pages.Row) string {
	if !row.Keyed {
		row.Values[0] = row.RowID
	}
	return fmt.Sprintf("%v %#v", row.Keyed, row.Values)
}

// filled makes a database with rows of all kinds and lengths and gives what SQLite says of them; half of them are in the log only.
func filled(t *testing.T, pageSize, count int) (path string, want []string) {
	t.Helper()
	path = filepath.Join(t.TempDir(), "a.db")
	db, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	db.SetMaxOpenConns(1)
	exec := func(query string, arguments ...any) {
		t.Helper()
		if _, err := db.Exec(query, arguments...); err != nil {
			t.Fatal(err)
		}
	}
	exec(fmt.Sprintf("PRAGMA page_size = %d; PRAGMA journal_mode = WAL; PRAGMA wal_autocheckpoint = 0; PRAGMA synchronous = OFF", pageSize))
	for table, option := range map[string]string{"rowid": "", "keyed": "WITHOUT ROWID"} {
		exec("CREATE TABLE " + table + " (k INTEGER PRIMARY KEY, i INTEGER, r REAL, t TEXT, b BLOB, n) " + option)
	}
	random := rand.New(rand.NewPCG(1, uint64(pageSize)))
	for n := range count {
		row := []any{
			n - count/2, int64(random.Uint64()) >> random.IntN(64), random.NormFloat64(),
			string(bytes.Repeat([]byte("Ω"), random.IntN(40))), bytes.Repeat([]byte{byte(n)}, random.IntN(2)*random.IntN(3*pageSize)), nil,
		}
		exec("INSERT INTO rowid VALUES (?,?,?,?,?,?)", row...)
		exec("INSERT INTO keyed VALUES (?,?,?,?,?,?)", row...)
		if n == count/2 {
			exec("PRAGMA wal_checkpoint(TRUNCATE)") // half of it is in the file, half in the log
		}
	}
	for table, keyed := range map[string]bool{"rowid": false, "keyed": true} {
		rows, err := db.Query("SELECT k, i, r, t, b, n FROM " + table)
		if err != nil {
			t.Fatal(err)
		}
		for rows.Next() {
			values := make([]any, 6)
			if err := rows.Scan(&values[0], &values[1], &values[2], &values[3], &values[4], &values[5]); err != nil {
				t.Fatal(err)
			}
			if b, is := values[4].([]byte); is && b == nil {
				values[4] = []byte{}
			}
			want = append(want, fmt.Sprintf("%v %#v", keyed, values))
		}
		if err := rows.Close(); err != nil {
			t.Fatal(err)
		}
	}
	slices.Sort(want)
	return path, want
}

// TestRows holds what is read against what SQLite itself says of the same file, for pages of several sizes, with and without a log.
func TestRows(t *testing.T) {
	for _, pageSize := range []int{512, 4096, 65536} {
		t.Run(fmt.Sprint(pageSize), func(t *testing.T) {
			path, want := filled(t, pageSize, 60)
			if info, err := os.Stat(path + "-wal"); err != nil || info.Size() == 0 {
				t.Fatalf("no log: %v", err)
			}
			if diff := cmp.Diff(want, read(t, path)); diff != "" {
				t.Errorf("with a log (-want +got):\n%s", diff)
			}
		})
	}
}

// TestLog cuts and spoils the log: what was committed before stays, what comes behind does not count.
func TestLog(t *testing.T) {
	path, want := filled(t, 4096, 60)
	log, err := os.ReadFile(path + "-wal")
	if err != nil {
		t.Fatal(err)
	}
	const frame = 24 + 4096
	all := len(want)
	for name, row := range map[string]struct {
		spoil func([]byte) []byte
		least int // rows that must be there at least
		fewer bool
	}{
		"nothing":               {func(b []byte) []byte { return b }, all, false},
		"a byte off":            {func(b []byte) []byte { return b[:len(b)-1] }, all - 2, true},
		"a bit in the middle":   {func(b []byte) []byte { b[32+frame*(len(b)/frame/2)+500] ^= 1; return b }, all / 2, true},
		"header gone":           {func(b []byte) []byte { clear(b[:32]); return b }, all / 2, true},
		"first frame's salt":    {func(b []byte) []byte { b[32+8] ^= 1; return b }, all / 2, true},
		"frames of a round ago": {func(b []byte) []byte { return append(b, b[32:32+frame]...) }, all, false},
	} {
		t.Run(name, func(t *testing.T) {
			copied := filepath.Join(t.TempDir(), "b.db")
			data, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			for name, content := range map[string][]byte{copied: data, copied + "-wal": row.spoil(slices.Clone(log))} {
				if err := os.WriteFile(name, content, 0o600); err != nil {
					t.Fatal(err)
				}
			}
			got := read(t, copied)
			for _, one := range got {
				if !slices.Contains(want, one) {
					t.Errorf("%s was never stored", one)
				}
			}
			if len(got) < row.least || (len(got) < all) != row.fewer {
				t.Errorf("%d rows of %d", len(got), all)
			}
		})
	}
}

// FuzzRows feeds pages of anything: no row may come that does not fit its page, and nothing may panic or take memory without bound.
func FuzzRows(f *testing.F) {
	page := make([]byte, 512)
	page[0], page[4], page[8], page[9] = 13, 1, 1, 240
	copy(page[496:], []byte{4, 1, 3, 1, 13 + 2, 7, 'x'})
	f.Add(page, []byte{})
	f.Add(bytes.Repeat([]byte{10, 255}, 600), bytes.Repeat([]byte{0x37, 0x7f, 6, 0x82}, 100))
	f.Fuzz(func(t *testing.T, data, log []byte) {
		file, err := pages.Open(bytes.NewReader(data), int64(len(data)), bytes.NewReader(log), int64(len(log)))
		if err != nil {
			t.Fatal(err)
		}
		for page := range min(file.PageCount(), 64) + 2 {
			err := file.Rows(page, func(row pages.Row) error {
				if row.Keyed && row.RowID != 0 {
					t.Errorf("row %+v", row)
				}
				return nil
			})
			if err != nil {
				t.Fatal(err)
			}
		}
	})
}
