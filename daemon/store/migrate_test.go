package store_test

import (
	"database/sql"
	"os"
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"

	"github.com/ampledger/ampledger/daemon/store"
	"github.com/ampledger/ampledger/daemon/store/storetest"
)

// asSchema1 takes a store's rows over into a file as a daemon of schema 1 would have written it.
func asSchema1(t *testing.T, from string) (path string) {
	t.Helper()
	path = filepath.Join(t.TempDir(), "old.db")
	db := must(sql.Open("sqlite", path))(t)
	defer db.Close()
	db.SetMaxOpenConns(1) // attached is attached to one
	must(db.Exec(string(must(os.ReadFile("schema/1.sql"))(t)) + "; PRAGMA application_id = 1097691212; PRAGMA user_version = 1; PRAGMA journal_mode = WAL"))(t)
	must(db.Exec("ATTACH ? AS new", from))(t)
	columns := "entry_sequence"
	rows := must(db.Query("SELECT name FROM pragma_table_info('entries') WHERE cid > 0"))(t)
	for rows.Next() {
		var name string
		if err := rows.Scan(&name); err != nil {
			t.Fatal(err)
		}
		columns += "," + name
	}
	if err := rows.Close(); err != nil {
		t.Fatal(err)
	}
	// A gap must follow on its entry, so each entry with its own.
	for n := range 50 {
		must(db.Exec("INSERT INTO entries SELECT "+columns+" FROM new.entries WHERE entry_sequence = ?", n+1))(t)
		must(db.Exec("INSERT INTO gaps SELECT * FROM new.gaps WHERE entry_sequence = ?", n+1))(t)
	}
	must(db.Exec("INSERT INTO devices SELECT * FROM new.devices"))(t)
	return path
}

// TestMigrate opens a file of schema 1: its entries get the chain they would have had from the beginning, and are guarded as ever.
func TestMigrate(t *testing.T) {
	newer := filled(t)
	path := asSchema1(t, newer)
	if _, err := store.OpenReader(path); !isOneOf(err, store.ErrOlder) {
		t.Errorf("reading it as it is: %v", err)
	}
	want, got := storetest.OpenAt(t, newer), storetest.OpenAt(t, path)
	if a, b := must(want.ChainHead(t.Context()))(t), must(got.ChainHead(t.Context()))(t); a != b || a.EntrySequence != 50 {
		t.Errorf("head is %v, want %v", b, a)
	}
	entries := must(got.Entries(t.Context(), 0, store.Filter{}, 100))(t)
	if diff := cmp.Diff(must(want.Entries(t.Context(), 0, store.Filter{}, 100))(t), entries); diff != "" {
		t.Errorf("entries (-want +got):\n%s", diff)
	}
	for _, query := range []string{"UPDATE entries SET lost_count = 0", "UPDATE entries SET chain = NULL", "DELETE FROM entries"} {
		if _, err := got.Writer().Exec(query); err == nil {
			t.Errorf("%s is taken", query)
		}
	}
	if at := append1(t, got, entry("pack", "shunt", 50), gap(1)); at != 51 {
		t.Errorf("goes on with %d", at)
	}
	if must(want.Identity(t.Context()))(t) == must(got.Identity(t.Context()))(t) {
		t.Error("two files of one name")
	}
}

// TestColumns holds the columns that are chained, by their numbers, against the file's.
func TestColumns(t *testing.T) {
	s := storetest.OpenMemory(t)
	for table, want := range map[string][]string{"entries": append(store.EntryColumns, "chain"), "gaps": store.GapColumns} {
		var got []string
		rows := must(s.Writer().Query("SELECT name FROM pragma_table_info(?) ORDER BY cid", table))(t)
		for rows.Next() {
			var name string
			if err := rows.Scan(&name); err != nil {
				t.Fatal(err)
			}
			got = append(got, name)
		}
		if diff := cmp.Diff(want, got); diff != "" || rows.Close() != nil {
			t.Errorf("%s (-want +got):\n%s", table, diff)
		}
	}
}
