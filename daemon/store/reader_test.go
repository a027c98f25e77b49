package store_test

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"testing"

	"github.com/ampledger/ampledger/daemon/store"
	"github.com/ampledger/ampledger/daemon/store/storetest"
)

func isOneOf(err error, wanted ...error) bool {
	for _, want := range wanted {
		if errors.Is(err, want) {
			return true
		}
	}
	return false
}

// TestReader reads a file beside its writer and after it, and leaves no trace.
func TestReader(t *testing.T) {
	s := storetest.Open(t)
	append1(t, s, entry("pack", "shunt", 0), gap(3))
	beside := must(store.OpenReader(s.Path()))(t)
	defer beside.Close()
	append1(t, s, entry("pack", "shunt", 1))
	for _, r := range []*store.Reader{&s.Reader, beside} {
		if found := must(r.Verify(t.Context(), nil))(t); found.FaultCount > 0 || found.EntryCount != 2 || found.Head != must(s.ChainHead(t.Context()))(t) {
			t.Errorf("found %+v", found)
		}
	}
	if err := errors.Join(beside.Close(), s.Close()); err != nil {
		t.Fatal(err)
	}
	before := must(os.ReadFile(s.Path()))(t)
	after := must(store.OpenReader(s.Path()))(t)
	if head := must(after.ChainHead(t.Context()))(t); head.EntrySequence != 2 {
		t.Errorf("head is %v", head)
	}
	if err := after.Close(); err != nil {
		t.Error(err)
	}
	if left := must(os.ReadDir(filepath.Dir(s.Path())))(t); len(left) != 1 || !bytes.Equal(before, must(os.ReadFile(s.Path()))(t)) {
		t.Errorf("reading left %v", left)
	}
}

// TestReaderCrashed reads what a crash left, the log included.
func TestReaderCrashed(t *testing.T) {
	s := storetest.Open(t)
	for n := range 8 {
		append1(t, s, entry("pack", "shunt", n))
	}
	path := copyCrashed(t, s)
	before := must(os.ReadFile(path))(t)
	r := must(store.OpenReader(path))(t)
	defer r.Close()
	if found := must(r.Verify(t.Context(), nil))(t); found.FaultCount > 0 || found.EntryCount != 8 {
		t.Errorf("found %+v", found)
	}
	if !bytes.Equal(before, must(os.ReadFile(path))(t)) {
		t.Error("the file was changed")
	}
}

// TestReaderRefused opens what is no store.
func TestReaderRefused(t *testing.T) {
	if _, err := store.OpenReader(filepath.Join(t.TempDir(), "none")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("no file: %v", err)
	}
	path := filled(t)
	cut(-4096)(t, path)
	if _, err := store.OpenReader(path); !errors.Is(err, store.ErrDamaged) {
		t.Errorf("cut off: %v", err)
	}
	write(t, path, bytes.Repeat([]byte("ampere "), 1000))
	if _, err := store.OpenReader(path); !errors.Is(err, store.ErrForeign) {
		t.Errorf("text: %v", err)
	}
}
