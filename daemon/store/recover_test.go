package store_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"github.com/ampledger/ampledger/daemon/store"
	"github.com/ampledger/ampledger/daemon/store/storetest"
)

const entriesBefore, eventsBefore = 120, 60

// before is a store that will be damaged, and what it held.
type before struct {
	path    string
	content []byte
	entries []store.Entry
	gaps    []store.Gap
	heads   []store.Head // behind each entry
}

// toDamage makes one: closed, with entries, gaps and events in turn.
func toDamage(t *testing.T) *before {
	t.Helper()
	b := &before{path: filepath.Join(t.TempDir(), "ampledger.db")}
	s := must(store.Open(b.path))(t)
	must(s.BeginEpoch(t.Context(), "adc0"))(t)
	for n := range entriesBefore / 2 {
		batch := store.Batch{Postings: []store.Posting{{Entry: entry("pack", "shunt", n), Gaps: []store.Gap{gap(3, "lost"), gap(4)}}, {Entry: entry("pack", "hall", n)}}}
		batch.Events = append(batch.Events, event(fmt.Sprint(n), "pack"))
		batch.Holds = []store.Hold{{Device: "adc0", Through: 500_000}}
		must(s.Append(t.Context(), batch))(t)
	}
	b.hold(t, &s.Reader)
	if err := errors.Join(s.PutSnapshot(t.Context(), store.Snapshot{Conductor: "pack", Plugin: "biasfilter", State: []byte("state")}), s.Close()); err != nil {
		t.Fatal(err)
	}
	b.content = must(os.ReadFile(b.path))(t)
	return b
}

// hold notes what a ledger holds.
func (b *before) hold(t *testing.T, r *store.Reader) {
	t.Helper()
	b.entries = must(r.Entries(t.Context(), 0, store.Filter{}, 10_000))(t)
	b.gaps = must(r.Gaps(t.Context(), "pack", "shunt", nil, nil, 10_000))(t)
	for _, e := range b.entries {
		b.heads = append(b.heads, must(r.ChainAt(t.Context(), e.Sequence))(t))
	}
}

// damagedBy writes the content, damaged, into a file of its own.
func (b *before) damagedBy(t *testing.T, damage func([]byte) []byte) (path string) {
	t.Helper()
	path = filepath.Join(t.TempDir(), "damaged.db")
	write(t, path, damage(slices.Clone(b.content)))
	return path
}

// recovered recovers a file: it is left as it was, what comes out is sound, and its ledger is the original's beginning.
func (b *before) recovered(t *testing.T, path string) (got *store.Recovery, out string) {
	t.Helper()
	out, original := filepath.Join(t.TempDir(), "out.db"), must(os.ReadFile(path))(t)
	got, err := store.Recover(t.Context(), path, out, nil)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(original, must(os.ReadFile(path))(t)) {
		t.Error("the original was changed")
	}
	if left := must(os.ReadDir(filepath.Dir(out)))(t); len(left) != 1 {
		t.Errorf("left beside it: %v", left)
	}
	r := must(store.OpenReader(out))(t)
	defer r.Close()
	entries := must(r.Entries(t.Context(), 0, store.Filter{}, 10_000))(t)
	if !slices.Equal(entries, b.entries[:len(entries)]) {
		t.Errorf("entries (-want +got)\n%s", cmp.Diff(b.entries[:len(entries)], entries))
	}
	head := must(r.ChainHead(t.Context()))(t)
	if last := len(entries); head != got.Head || last > 0 && head != b.heads[last-1] || last == 0 && head != (store.Head{}) {
		t.Errorf("another chain, ending with %v, %v is told", head, got.Head)
	}
	return got, out
}

// zero clears a page.
func zero(page int) func([]byte) []byte {
	return func(content []byte) []byte {
		clear(content[(page-1)*4096 : page*4096])
		return content
	}
}

// pageOf finds the page of a tree by its place in the table of contents: its root; or its n-th leaf.
func (b *before) pageOf(t *testing.T, name string, leaf int) int {
	t.Helper()
	r := must(store.OpenReader(b.path))(t)
	defer r.Close()
	query := "SELECT rootpage FROM sqlite_schema WHERE name = ?"
	if leaf > 0 {
		query = fmt.Sprintf("SELECT pageno FROM dbstat WHERE name = ? AND pagetype = 'leaf' ORDER BY path LIMIT 1 OFFSET %d", leaf)
	}
	var page int
	if err := r.Readers().QueryRow(query, name).Scan(&page); err != nil {
		t.Fatal(err)
	}
	return page
}

// TestRecover names the damage and what survives it, to the row.
func TestRecover(t *testing.T) {
	b := toDamage(t)
	for name, row := range map[string]struct {
		damage         func([]byte) []byte
		ledger, aside  int
		events, lost   int
		mentions       string
		losesSequences bool
	}{
		"nothing":              {func(c []byte) []byte { return c }, 120, 0, 60, 0, "entries 1 to 120 are as they were chained", false},
		"header gone":          {func(c []byte) []byte { clear(c[:100]); return c }, 120, 0, 60, 0, "", false},
		"first page gone":      {zero(1), 120, 0, 60, 0, "", false},
		"page size wrong":      {func(c []byte) []byte { c[16] ^= 0x20; return c }, 120, 0, 60, 0, "", false},
		"root of entries gone": {zero(b.pageOf(t, "entries", 0)), 120, 0, 60, 0, "", false},
		"root of gaps gone":    {zero(b.pageOf(t, "gaps", 0)), 58, 62, 60, 0, "of them 1: does not follow", false}, // it holds a row itself
		"root of events gone":  {zero(b.pageOf(t, "events", 0)), 120, 0, 60, 0, "", false},
		"index gone":           {zero(b.pageOf(t, "entries_of_channel", 0)), 120, 0, 60, 0, "", false},
		"devices gone":         {zero(b.pageOf(t, "devices", 0)), 120, 0, 60, 0, "", true},
		"starts gone":          {zero(b.pageOf(t, "daemon", 0)), 120, 0, 60, 0, "", false},
		"a leaf of entries":    {zero(b.pageOf(t, "entries", 4)), 76, 25, 60, 0, "entries 77 to 95 are lost", false},
		"the first of entries": {zero(b.pageOf(t, "entries", 1) - 1), 0, 101, 60, 0, "no entry could be taken over", false},
		"a leaf of events":     {zero(b.pageOf(t, "events", 1)), 120, 0, 32, 28, "28 events are lost", false},
		"a byte of an entry":   {func(c []byte) []byte { return flipIn(c, "biasfilter", 50) }, 28, 92, 60, 0, "of them 1: does not follow", false},
	} {
		t.Run(name, func(t *testing.T) {
			got, out := b.recovered(t, b.damagedBy(t, row.damage))
			s := must(store.Open(out))(t) // found sound before Recover returned
			defer s.Close()
			if got.Head.EntrySequence != uint64(row.ledger) || got.AsideCount != uint64(row.aside) || got.EventCount != uint64(row.events) ||
				got.LostCount != uint64(row.lost) || !strings.Contains(strings.Join(got.Lines, "\n"), row.mentions) {
				t.Errorf("got %+v, want %+v", got, row)
			}
			if got.EventCount+got.LostCount != eventsBefore {
				t.Errorf("%d events and %d lost make no %d", got.EventCount, got.LostCount, eventsBefore)
			}
			next, epoch := must(s.NextSequence(t.Context(), "adc0"))(t), must(s.BeginEpoch(t.Context(), "adc0"))(t)
			if least := map[bool]uint64{true: 1 << 32, false: 1<<32 + 500_000}[row.losesSequences]; next <= least || epoch <= 1 {
				t.Errorf("goes on with sequence %d and epoch %d", next, epoch)
			}
			if at := append1(t, s, entry("pack", "shunt", 1)); at != got.Head.EntrySequence+1 {
				t.Errorf("goes on with entry %d", at)
			}
		})
	}
}

// flipIn flips a bit of the n-th occurrence of a word.
func flipIn(content []byte, word string, n int) []byte {
	at := 0
	for range n {
		at += bytes.Index(content[at:], []byte(word)) + 1
	}
	content[at] ^= 1
	return content
}

// TestRecoverAside looks at what is kept aside: row for row as it was, with a verdict.
func TestRecoverAside(t *testing.T) {
	b := toDamage(t)
	_, out := b.recovered(t, b.damagedBy(t, zero(b.pageOf(t, "entries", 4))))
	s := must(store.OpenReader(out))(t)
	defer s.Close()
	for query, want := range map[string]string{
		"SELECT group_concat(entry_sequence || ' ' || verdict) FROM salvaged_entries WHERE entry_sequence < 98":                                           "96 the entry before it is lost,97 follows on the entry before it",
		"SELECT typeof(square_ampere_seconds) || out_microcoulombs || reason || typeof(stored_coulombs) FROM salvaged_entries WHERE entry_sequence = 120": "real600000059intervalnull",
		"SELECT count(*) || min(entry_sequence) || max(causes) FROM salvaged_gaps":                                                                        "2497[]",
		"SELECT count(*) FROM recovery WHERE line LIKE 'entries 77 to 95 are lost'":                                                                       "1",
		"SELECT count(*) FROM snapshots":                                     "0",
		"SELECT hex(chain) FROM salvaged_entries WHERE entry_sequence = 120": strings.ToUpper(fmt.Sprintf("%x", b.heads[119].Chain)),
	} {
		var got string
		if err := s.Readers().QueryRow(query).Scan(&got); err != nil || got != want {
			t.Errorf("%s: %q, %v, want %q", query, got, err, want)
		}
	}
}

// TestRecoverLog recovers what a crash left, the log with it, and a file of which only the log is whole.
func TestRecoverLog(t *testing.T) {
	s := storetest.Open(t)
	b := new(before)
	for n := range 8 {
		append1(t, s, entry("pack", "shunt", n), gap(1))
		if n == 4 { // the first five are in the file
			must(s.Writer().Exec("PRAGMA wal_checkpoint(TRUNCATE)"))(t)
		}
	}
	b.hold(t, &s.Reader)
	path := copyCrashed(t, s)
	if got, _ := b.recovered(t, path); got.Head.EntrySequence != 8 {
		t.Errorf("with the log: %+v", got)
	}
	flip(t, path+"-wal", -50) // the last commit
	if got, _ := b.recovered(t, path); got.Head.EntrySequence != 7 {
		t.Errorf("with a torn log: %+v", got)
	}
	cut(0)(t, path)
	if got, _ := b.recovered(t, path); got.Head.EntrySequence == 0 && got.AsideCount == 0 {
		t.Errorf("with the log alone: %+v", got)
	}
}

// TestRecoverSchema1 recovers a file from before the chain: what comes without a hole gets one.
func TestRecoverSchema1(t *testing.T) {
	newer := filled(t)
	r := must(store.OpenReader(newer))(t)
	defer r.Close()
	b := new(before)
	b.hold(t, r)
	path := asSchema1(t, newer)
	zero1 := must(os.ReadFile(path))(t)
	write(t, path, zero(1)(zero1))
	if got, _ := b.recovered(t, path); got.Head.EntrySequence != 50 || !strings.Contains(got.Lines[0], "no chain") {
		t.Errorf("got %+v", got)
	}
}

// TestRecoverRefused asks for what cannot or must not be done; nothing is left of it.
func TestRecoverRefused(t *testing.T) {
	path, folder := filled(t), t.TempDir()
	text, taken := filepath.Join(folder, "text"), filepath.Join(folder, "taken")
	write(t, text, bytes.Repeat([]byte("ampere "), 3000))
	write(t, taken, []byte("something"))
	write(t, filepath.Join(folder, "half.new"), nil)
	for name, row := range map[string]struct {
		from, to string
		want     error
	}{
		"nothing there":     {filepath.Join(folder, "none"), filepath.Join(folder, "out"), os.ErrNotExist},
		"a folder":          {folder, filepath.Join(folder, "out"), store.ErrForeign},
		"not ours":          {text, filepath.Join(folder, "out"), store.ErrForeign},
		"into itself":       {path, path, os.ErrExist},
		"over another":      {path, taken, os.ErrExist},
		"over a half one":   {path, filepath.Join(folder, "half"), os.ErrExist},
		"into no folder":    {path, filepath.Join(folder, "no", "out"), os.ErrNotExist},
		"into a file's own": {path, filepath.Join(text, "out"), nil},
	} {
		got, err := store.Recover(t.Context(), row.from, row.to, nil)
		if err == nil || row.want != nil && !errors.Is(err, row.want) {
			t.Errorf("%s: %+v, %v, want %v", name, got, err, row.want)
		}
	}
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := store.Recover(ended, path, filepath.Join(folder, "out"), nil); !errors.Is(err, context.Canceled) {
		t.Errorf("ended before: %v", err)
	}
	if left := must(os.ReadDir(folder))(t); len(left) != 3 {
		t.Errorf("left: %v", left)
	}
}

// TestRecoverTruncated cuts the file at fifty places: the longer it is, the more survives, and nearly as much as is there.
func TestRecoverTruncated(t *testing.T) {
	b := toDamage(t)
	empty, survived := int(must(os.Stat(storetest.Open(t).Path()))(t).Size()), uint64(0)
	for n := range 50 {
		size := len(b.content) * n / 50
		path := b.damagedBy(t, func(content []byte) []byte { return content[:size] })
		if s, err := store.Open(path); !isOneOf(err, store.ErrDamaged, store.ErrForeign) || size >= 4096 && !strings.Contains(err.Error(), "ampledger recover") {
			t.Errorf("cut to %d bytes it opens: %v, %v", size, s, err)
		}
		if size < empty { // the first page of each table
			if _, err := store.Recover(t.Context(), path, path+".out", nil); err != nil && !errors.Is(err, store.ErrForeign) {
				t.Errorf("cut to %d bytes: %v", size, err)
			}
			continue
		}
		got, _ := b.recovered(t, path)
		// The page that holds the first gaps is moved when the tree of gaps grows its first level; before, entries are read without them.
		if least := entriesBefore*(size-empty)/(len(b.content)-empty) - 40; got.Head.EntrySequence < survived || int(got.Head.EntrySequence+got.AsideCount) < least {
			t.Errorf("of %d bytes %d entries survive, and %d aside; %d did with fewer, %d at least should", size, got.Head.EntrySequence, got.AsideCount, survived, least)
		}
		survived = got.Head.EntrySequence
	}
}

// TestBitFlips flips one bit at many places: whatever changes a value of the ledger is noticed by Open or by Verify, and Recover gives
// nothing out that was not so.
func TestBitFlips(t *testing.T) {
	b := toDamage(t)
	random := rand.New(rand.NewPCG(5, 6))
	noticed, changed := 0, 0
	for n := range 45 {
		at, bit := random.IntN(len(b.content)), random.IntN(8)
		path := b.damagedBy(t, func(content []byte) []byte { content[at] ^= 1 << bit; return content })
		same, sound := b.look(t, path)
		if !same {
			changed++
		}
		if !sound {
			noticed++
		}
		if !same && sound {
			t.Errorf("bit %d of byte %d changes the ledger and nobody sees it", bit, at)
		}
		if n%5 == 0 {
			b.recovered(t, path)
		}
	}
	if changed < 10 || noticed < changed {
		t.Errorf("%d flips changed the ledger, %d were noticed: too few to mean anything", changed, noticed)
	}
}

// look reads a file: is its ledger the same, and does Open or Verify say that all is well?
func (b *before) look(t *testing.T, path string) (same, sound bool) {
	t.Helper()
	r, err := store.OpenReader(path)
	if err != nil {
		return false, false
	}
	defer r.Close()
	entries, err1 := r.Entries(t.Context(), 0, store.Filter{}, 10_000)
	gaps, err2 := r.Gaps(t.Context(), "pack", "shunt", nil, nil, 10_000)
	same = errors.Join(err1, err2) == nil && slices.Equal(entries, b.entries) && cmp.Equal(gaps, b.gaps)
	found, err := r.Verify(t.Context(), nil)
	return same, err == nil && found.FaultCount == 0
}
