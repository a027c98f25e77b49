package config

import (
	"errors"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

var update = flag.Bool("update", false, "rewrite the expected files")

const cases = "../../testdata/config"

// golden compares with a file, or rewrites it.
func golden(t *testing.T, path, got string) {
	t.Helper()
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), got); diff != "" {
		t.Errorf("%s (-want +got):\n%s", path, diff)
	}
}

func files(t *testing.T, pattern string) []string {
	t.Helper()
	found, err := filepath.Glob(filepath.Join(cases, pattern))
	if err != nil || len(found) == 0 {
		t.Fatalf("no file matches %s: %v", pattern, err)
	}
	return found
}

func text(t *testing.T, path string) []byte {
	t.Helper()
	read, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return read
}

// TestBadFiles holds all faults of each file in bad/ against the .txt beside it; -update rewrites those.
func TestBadFiles(t *testing.T) {
	for _, path := range files(t, "bad/*.yaml") {
		t.Run(filepath.Base(path), func(t *testing.T) {
			c, err := Parse(text(t, path), filepath.Base(path), "")
			if err == nil || c != nil {
				t.Fatal("accepted")
			}
			golden(t, strings.TrimSuffix(path, ".yaml")+".txt", err.Error()+"\n")
		})
	}
}

// TestFaultsCanBeAsked: an editor or a service takes the position from the value, not from the text.
func TestFaultsCanBeAsked(t *testing.T) {
	_, err := Parse([]byte("state: x\nledger: {interval_seconds: 1 min}\n"), "pack.yaml", "")
	var all Faults
	var first Fault
	if !errors.As(err, &all) || !errors.As(err, &first) {
		t.Fatalf("not Faults: %v", err)
	}
	want := Fault{File: "pack.yaml", Line: 2, Column: 28, Path: "ledger.interval_seconds",
		Text: `"1 min" holds a unit: write the number alone: the unit is in the key's name`}
	if got := all[len(all)-1]; got != want {
		t.Errorf("got %#v", got)
	}
}
