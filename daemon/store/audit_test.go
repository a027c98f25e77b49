package store_test

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/ampledger/ampledger/daemon/store"
)

// auditor gives the program that DEVELOPERS.md shows.
func auditor(t *testing.T) (path string) {
	t.Helper()
	text := string(must(os.ReadFile("../../DEVELOPERS.md"))(t))
	_, rest, found := strings.Cut(text, "```python\n")
	program, _, closed := strings.Cut(rest, "```\n")
	if !found || !closed {
		t.Fatal("DEVELOPERS.md shows no program")
	}
	path = filepath.Join(t.TempDir(), "audit.py")
	write(t, path, []byte(program))
	return path
}

// audit runs it over a file and gives what it says. Without python3 the test fails: an auditor's check that did not run is none.
func audit(t *testing.T, program, path string) string {
	t.Helper()
	output, _ := exec.Command("python3", program, path).CombinedOutput()
	return strings.TrimSpace(string(output))
}

// TestAudit lets a program in another language, which knows nothing of ours but the rule, find the same chain, and the same bad entry.
func TestAudit(t *testing.T) {
	program, path := auditor(t), filepath.Join(t.TempDir(), "ampledger.db")
	s := must(store.Open(path))(t)
	must(s.Append(t.Context(), store.Batch{Postings: ofEachKind()}))(t)
	for n := range 20 {
		append1(t, s, entry("päck 電池", "shunt", n), gap(4, "lost", "Ω \"quoted\""), gap(5))
	}
	head := must(s.ChainHead(t.Context()))(t)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if got := audit(t, program, path); got != head.String() {
		t.Errorf("python3 says %q, want %v", got, head)
	}
	// Each change is at an earlier entry than the ones before it.
	const trigger = "DROP TRIGGER IF EXISTS entries_never_change; DROP TRIGGER IF EXISTS gaps_never_change; DROP TRIGGER IF EXISTS entries_never_go; " +
		"DROP TRIGGER IF EXISTS gaps_never_go; "
	for _, row := range []struct {
		query string
		first int64
	}{
		{"UPDATE entries SET zero_coulombs = 0.5000000000000001 WHERE entry_sequence = 25", 25},
		{"UPDATE gaps SET causes = '[]' WHERE entry_sequence = 24 AND position = 1", 24},
		{"DELETE FROM gaps WHERE entry_sequence = 23 AND position = 2", 23},
		{"UPDATE entries SET chain = x'" + strings.Repeat("00", 32) + "' WHERE entry_sequence = 22", 22},
		{"DELETE FROM gaps WHERE entry_sequence = 21; DELETE FROM entries WHERE entry_sequence = 21", 21},
		{"UPDATE entries SET note = 'empty' WHERE entry_sequence = 6", 6},
		{"UPDATE entries SET configuration_sha256 = replace(configuration_sha256, '0a', '0b') WHERE entry_sequence = 2", 2},
	} {
		do(trigger+row.query)(t, path)
		if got, want := audit(t, program, path), fmt.Sprint("the first bad entry is ", row.first); got != want {
			t.Errorf("after %q python3 says %q, want %q", row.query, got, want)
		}
		r := must(store.OpenReader(path))(t)
		found := must(r.Verify(t.Context(), nil))(t)
		if err := r.Close(); err != nil || len(found.Faults) == 0 || found.Faults[0].EntrySequence != row.first {
			t.Errorf("after %q we say %v, want entry %d first", row.query, found.Faults, row.first)
		}
	}
}
