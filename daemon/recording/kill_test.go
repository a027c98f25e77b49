package recording

import (
	"bufio"
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"strconv"
	"testing"
	"time"

	"github.com/ampledger/ampledger/daemon/scan"
)

// The environment of the child that is killed: the folder it records to and its first sequence.
const (
	childVariable = "AMPLEDGER_RECORDING_TEST_CHILD"
	firstVariable = "AMPLEDGER_RECORDING_TEST_FIRST"
)

// child records without end and prints how far it is on disk. It comes back only with an error.
func child(folder string) error {
	first, err := strconv.ParseUint(os.Getenv(firstVariable), 10, 64)
	if err != nil {
		return err
	}
	written := make(chan uint64, 1)
	settings := Settings{Folder: folder, RowGroupScans: 500, RotateBytes: 64 << 10, BudgetBytes: 1 << 30}
	r, err := New(settings, Told{
		OnWritten: func(_ string, through uint64) { written <- through },
		OnLost:    func(lost Lost) { panic(fmt.Sprint(lost)) },
		OnFault:   func(err error) { panic(err) },
	})
	if err != nil {
		return err
	}
	track, err := r.Track(head())
	if err != nil {
		return err
	}
	go func() { panic(r.Run(context.Background())) }()
	for {
		for range 5 {
			track.Frame(marked(first, 100))
			first += 100
		}
		fmt.Println(<-written)
	}
}

// marked gives a frame whose values follow from its sequences.
func marked(first uint64, count int) *scan.Frame {
	f := &scan.Frame{Clock: scan.Clock{Epoch: 1, Sequence: first, Wall: wallStart + int64(first)*1e6, Monotonic: int64(first) * 1e6, Period: 1e6}, Count: count,
		Columns: make([]scan.Column, 3)}
	for k := range uint64(count) {
		f.Columns[0].Values = append(f.Columns[0].Values, float64((first+k)%1000))
		f.Columns[1].Values = append(f.Columns[1].Values, math.Sqrt(float64(first+k)))
		f.Columns[2].Values = append(f.Columns[2].Values, float64(first+k))
	}
	return f
}

// TestKill kills a writer at a few moments: what it said was on disk must be there after the recovery that a recorder begins with, and
// nothing that is not right.
func TestKill(t *testing.T) {
	folder := t.TempDir()
	moments := rand.New(rand.NewPCG(1, 2))
	next, before := uint64(1000), 0
	for range 8 {
		said := runAndKill(t, folder, next, 1+moments.IntN(60), time.Duration(moments.IntN(1000))*time.Microsecond)
		recovered := 0
		r := start(t, quiet(folder), Told{OnRecovered: func(path string, saved *Recovered, err error) {
			if recovered++; saved == nil {
				t.Logf("%s: %v", path, err)
			}
		}})
		if err := r.stop(); err != nil {
			t.Fatal(err)
		}
		if recovered > 1 {
			t.Errorf("%d files were not complete, want one at most", recovered)
		}
		var got []row
		all := files(t, folder, "*.parquet")
		for _, path := range all[before:] {
			read, _ := readIndependently(t, path)
			got = append(got, read...)
		}
		before = len(all)
		through := got[len(got)-1].Sequence
		if uint64(through) < said || (uint64(through)+1-next)%500 != 0 {
			t.Errorf("recovered through %d, %d was said to be on disk", through, said)
		}
		compareRows(t, rowsOf(marked(next, int(uint64(through)+1-next))), got)
		next = uint64(through) + 1000
	}
}

func compareRows(t *testing.T, want, got []row) {
	t.Helper()
	if len(want) != len(got) {
		t.Fatalf("%d rows, want %d", len(got), len(want))
	}
	for k := range want {
		if want[k] != got[k] {
			t.Fatalf("row %d is %+v, want %+v", k, got[k], want[k])
		}
	}
}

// runAndKill runs a child, kills it a moment after so many row groups, and gives the last sequence it said was on disk.
func runAndKill(t *testing.T, folder string, first uint64, groups int, moment time.Duration) (said uint64) {
	t.Helper()
	command := exec.Command(os.Args[0])
	command.Env = append(os.Environ(), childVariable+"="+folder, fmt.Sprintf("%s=%d", firstVariable, first))
	command.Stderr = os.Stderr
	output, err := command.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := command.Start(); err != nil {
		t.Fatal(err)
	}
	count := 0
	for lines := bufio.NewScanner(output); lines.Scan(); count++ {
		if said, err = strconv.ParseUint(lines.Text(), 10, 64); err != nil {
			t.Fatalf("child said something else: %v", err)
		}
		if count == groups {
			kill := time.AfterFunc(moment, func() { _ = command.Process.Kill() })
			defer kill.Stop()
		}
	}
	if err := command.Wait(); count <= groups {
		t.Fatalf("child ended by itself after %d row groups: %v", count, err)
	}
	return said
}
