package store_test

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/ampledger/ampledger/daemon/store"
	"github.com/ampledger/ampledger/daemon/store/storetest"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// childVariable names the environment variable with the file the child works on.
const childVariable = "AMPLEDGER_STORE_TEST_CHILD"

// committed is what the child says after each transaction.
type committed struct {
	opening, entry, log, next uint64 // next = first device sequence not yet held
	random                    uint64 // what marks the transaction's rows
}

// child appends without end and prints what is durable. It comes back only with an error.
func child(path string) error {
	ctx := context.Background()
	s, err := store.Open(path)
	if err != nil {
		return err
	}
	opening, err := s.BeginOpening(ctx)
	if err != nil {
		return err
	}
	next, err := s.NextSequence(ctx, "adc0")
	if err != nil {
		return err
	}
	for {
		random := rand.Uint64()
		at, err := s.Append(ctx, childBatch(next, random))
		if err != nil {
			return err
		}
		next += 10
		fmt.Println(opening, at.Entries[len(at.Entries)-1], at.Events[len(at.Events)-1], next, random)
	}
}

// childBatch marks a few entries, gaps and events.
func childBatch(next, random uint64) (batch store.Batch) {
	mark := fmt.Sprint(random)
	for range 1 + random%3 {
		entry := entry("pack", "shunt", 0)
		entry.FirstSequence, entry.LastSequence, entry.Reason = next, next+9, mark
		batch.Postings = append(batch.Postings, store.Posting{Entry: entry, Gaps: []store.Gap{gap(5, mark), gap(6)}[:random%2+1]})
		batch.Events = append(batch.Events, event(mark, "pack"))
	}
	batch.Holds = []store.Hold{{Device: "adc0", Through: next + 9}}
	return batch
}

// TestKill kills a writer at a few moments: whatever it said was durable must be there, and all must go on behind it.
func TestKill(t *testing.T) {
	path := filepath.Join(t.TempDir(), "ampledger.db")
	moments := rand.New(rand.NewPCG(1, 2))
	var before committed
	for range 5 {
		said := runAndKill(t, path, moments.IntN(90))
		first, last := said[0], said[len(said)-1]
		if first.opening <= before.opening || first.entry <= before.entry || first.log <= before.log || first.next < before.next+10 {
			t.Errorf("after %+v the next one began with %+v: something is used twice", before, first)
		}
		s := storetest.OpenAt(t, path)
		storetest.Verify(t, s)
		for _, one := range said {
			verifySaid(t, s, one)
		}
		if next := must(s.NextSequence(t.Context(), "adc0"))(t); next < last.next {
			t.Errorf("next sequence is %d, %d was committed", next, last.next)
		}
		if err := s.Close(); err != nil {
			t.Error(err)
		}
		before = last
	}
}

// runAndKill runs a child, kills it a while after so many commits, and gives everything it said.
func runAndKill(t *testing.T, path string, commits int) (said []committed) {
	t.Helper()
	command := exec.Command(os.Args[0])
	command.Env = append(os.Environ(), childVariable+"="+path)
	command.Stderr = os.Stderr
	output, err := command.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := command.Start(); err != nil {
		t.Fatal(err)
	}
	lines := bufio.NewReader(output)
	for {
		var one committed
		_, err := fmt.Fscanln(lines, &one.opening, &one.entry, &one.log, &one.next, &one.random)
		if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
			break
		}
		if err != nil {
			t.Fatalf("child said something else: %v", err)
		}
		if said = append(said, one); len(said) == commits+1 {
			if err := command.Process.Kill(); err != nil {
				t.Fatal(err)
			}
		}
	}
	if err := command.Wait(); len(said) < commits+1 {
		t.Fatalf("child ended by itself after %d commits: %v", len(said), err)
	}
	return said
}

// verifySaid looks for the last rows of one transaction.
func verifySaid(t *testing.T, s *store.Store, said committed) {
	t.Helper()
	mark := fmt.Sprint(said.random)
	entries := must(s.Entries(t.Context(), said.entry-1, store.Filter{}, 1))(t)
	if len(entries) != 1 || entries[0].Reason != mark || entries[0].LastSequence != said.next-1 {
		t.Errorf("committed entry %d is gone: %+v", said.entry, entries)
	}
	events := must(s.Events(t.Context(), said.log-1, "", 1))(t)
	if len(events) != 1 || events[0].EventId != mark || events[0].LogSequence != said.log || events[0].State != ampledgerv1.EventState_EVENT_STATE_OPERATED {
		t.Errorf("committed event %d is gone: %v", said.log, events)
	}
}
