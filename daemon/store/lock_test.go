package store_test

import (
	"bufio"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/ampledger/ampledger/daemon/store"
	"github.com/ampledger/ampledger/daemon/store/storetest"
)

// lockVariable names the environment variable with the file that the child locks.
const lockVariable = "AMPLEDGER_STORE_TEST_LOCK"

// lock holds a file's write lock until its standard input ends. It comes back only with an error.
func lock(path string) error {
	db, err := sql.Open("sqlite", "file:"+path+"?_txlock=immediate")
	if err != nil {
		return err
	}
	tx, err := db.Begin()
	if err != nil {
		return err
	}
	fmt.Println("locked")
	for err == nil {
		_, err = os.Stdin.Read(make([]byte, 1))
	}
	return errors.Join(err, tx.Rollback(), db.Close())
}

// TestLocked lets another process hold the file's lock: a write waits no longer than its context, readers go on, the recorder keeps what it
// has, and when the lock is given back nothing is missing.
func TestLocked(t *testing.T) {
	s := storetest.OpenAt(t, filepath.Join(t.TempDir(), "locked.db"))
	append1(t, s, entry("pack", "shunt", 0))
	command := exec.Command(os.Args[0])
	command.Env = append(os.Environ(), lockVariable+"="+s.Path())
	release := must(command.StdinPipe())(t)
	output := must(command.StdoutPipe())(t)
	if err := command.Start(); err != nil {
		t.Fatal(err)
	}
	if line, err := bufio.NewReader(output).ReadString('\n'); strings.TrimSpace(line) != "locked" {
		t.Fatalf("the child says %q, %v", line, err)
	}
	short, cancel := context.WithTimeout(t.Context(), 20*time.Millisecond)
	defer cancel()
	if _, err := s.Append(short, batch2(t)); err == nil {
		t.Error("stored although another process holds the lock")
	}
	if got := must(s.Balance(t.Context(), "pack", "shunt", nil, nil))(t); got.EntryCount != 1 {
		t.Errorf("readers see %d entries", got.EntryCount)
	}
	r := store.NewRecorder(s, store.RecorderConfig{QueueRows: 2})
	end := run(t, r)
	if !r.Post(entry("pack", "shunt", 1), nil) || !r.Post(entry("pack", "shunt", 2), nil) || r.Post(entry("pack", "shunt", 3), nil) {
		t.Error("two are to be kept, the third is to be given back")
	}
	if err := release.Close(); err != nil {
		t.Error(err)
	}
	_ = command.Wait() // it ends with the error that its input has ended
	if err := errors.Join(r.Flush(t.Context()), end()); err != nil {
		t.Error(err)
	}
	if head := must(s.ChainHead(t.Context()))(t); head.EntrySequence != 3 {
		t.Errorf("head is %v", head)
	}
}
