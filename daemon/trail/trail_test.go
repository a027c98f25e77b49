package trail_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"go.uber.org/goleak"
	"go.uber.org/zap"
	"go.uber.org/zap/zaptest/observer"
	"google.golang.org/protobuf/testing/protocmp"

	"github.com/ampledger/ampledger/daemon/comparison"
	"github.com/ampledger/ampledger/daemon/trail"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

const day = 24 * time.Hour

func open(t *testing.T, path string, config trail.Config) *trail.Trail {
	t.Helper()
	if config.Log == nil {
		config.Log = zap.NewNop()
	}
	if config.Keep == 0 {
		config.Keep = 200 * 365 * day
	}
	made, err := trail.Open(path, config)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := made.Close(); err != nil {
			t.Error(err)
		}
	})
	return made
}

func record(conductor, shadow string, second int64) *comparison.Record {
	return &comparison.Record{
		Conductor: conductor, Shadow: shadow, Plugin: "biasfilter", Device: "adc0", ThroughSequence: uint64(second * 10), WallNanos: second * 1e9,
		Outputs: []*ampledgerv1.DerivedValue{{Name: "state_of_charge", Unit: "1", Value: 0.5}},
	}
}

func read(t *testing.T, from *trail.Trail, conductor string, fromWall, toWall int64) (all []*comparison.Record) {
	t.Helper()
	err := from.Read(t.Context(), conductor, fromWall, toWall, func(r *comparison.Record) error {
		all = append(all, r)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

func flush(t *testing.T, to *trail.Trail) {
	t.Helper()
	if err := to.Flush(t.Context()); err != nil {
		t.Fatal(err)
	}
}

// TestRecordsSurvive writes as the daemon does, ends, and reads a span of one conductor again, by time.
func TestRecordsSurvive(t *testing.T) {
	path := filepath.Join(t.TempDir(), trail.FileName)
	first := open(t, path, trail.Config{})
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- first.Run(ctx) }()
	for _, r := range []*comparison.Record{record("pack", "", 3), record("pack", "mine", 1), record("string", "", 2), record("pack", "", 1), record("pack", "", 2)} {
		first.Take(r)
	}
	again := record("pack", "", 2) // an estimator that was started again says it again
	again.Generation = 7
	first.Take(again)
	cancel()
	if err := <-ended; err != nil {
		t.Fatal(err)
	}
	want := []*comparison.Record{record("pack", "", 1), record("pack", "mine", 1), again}
	if diff := cmp.Diff(want, read(t, open(t, path, trail.Config{}), "pack", 1e9, 2e9), protocmp.Transform()); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	if info, err := os.Stat(path); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("mode %v, %v", info.Mode(), err)
	}
}

// TestOldRecordsGo deletes what is older than is to be kept, once an hour.
func TestOldRecordsGo(t *testing.T) {
	now := time.Unix(100*86400, 0)
	kept := open(t, filepath.Join(t.TempDir(), trail.FileName), trail.Config{Keep: 30 * day, Now: func() time.Time { return now }})
	for _, d := range []int64{60, 69, 71, 99} {
		kept.Take(record("pack", "", d*86400))
		flush(t, kept)
	}
	seconds := func() (all []int64) {
		for _, r := range read(t, kept, "pack", math.MinInt64, math.MaxInt64) {
			all = append(all, r.GetWallNanos()/86400e9)
		}
		return all
	}
	if got := fmt.Sprint(seconds()); got != "[69 71 99]" { // the first went as it came
		t.Errorf("days %s", got)
	}
	now = now.Add(2 * time.Hour)
	kept.Take(record("pack", "", 100*86400))
	flush(t, kept)
	if got := fmt.Sprint(seconds()); got != "[71 99 100]" {
		t.Errorf("two hours later days %s", got)
	}
}

// TestNoRoom: nothing is written while the disk has no room; what waits is written later, and what did not fit the queue is told.
func TestNoRoom(t *testing.T) {
	full := errors.New("no room on the disk")
	core, logs := observer.New(zap.WarnLevel)
	held := open(t, filepath.Join(t.TempDir(), trail.FileName), trail.Config{Room: func(uint64) error { return full }, Log: zap.New(core)})
	const taken, queue = 5000, 4096
	for second := range int64(taken) {
		held.Take(record("pack", "", second))
	}
	if err := held.Flush(t.Context()); !errors.Is(err, full) {
		t.Errorf("flushed: %v", err)
	}
	if got := read(t, held, "pack", math.MinInt64, math.MaxInt64); len(got) != 0 {
		t.Errorf("%d were written", len(got))
	}
	full = nil
	flush(t, held)
	if got := read(t, held, "pack", math.MinInt64, math.MaxInt64); len(got) != queue {
		t.Errorf("%d were written, want %d", len(got), queue)
	}
	if told := logs.FilterMessageSnippet("left out").All(); len(told) != 1 || told[0].ContextMap()["records"] != uint64(taken-queue) {
		t.Errorf("told %v", told)
	}
}

// TestFilesThatCannotBeRead are put aside, whole, and a new one is begun.
func TestFilesThatCannotBeRead(t *testing.T) {
	for name, spoil := range map[string]func(t *testing.T, path string){
		"no database": func(t *testing.T, path string) { write(t, path, []byte("readings, readings, readings")) },
		"another's": func(t *testing.T, path string) {
			text := whole(t, path)
			copy(text[68:], "WHAT") // application_id stands there (https://www.sqlite.org/fileformat2.html)
			write(t, path, text)
		},
		"cut off":     func(t *testing.T, path string) { write(t, path, whole(t, path)[:5000]) },
		"overwritten": func(t *testing.T, path string) { write(t, path, append(whole(t, path)[:4096], make([]byte, 4096)...)) },
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), trail.FileName)
			before, err := trail.Open(path, trail.Config{Keep: 200 * 365 * day, Log: zap.NewNop()})
			if err != nil {
				t.Fatal(err)
			}
			for second := range int64(200) {
				before.Take(record("pack", "", second))
			}
			flush(t, before)
			if err := before.Close(); err != nil {
				t.Fatal(err)
			}
			spoil(t, path)
			spoilt := whole(t, path)
			core, logs := observer.New(zap.ErrorLevel)
			after := open(t, path, trail.Config{Log: zap.New(core)})
			after.Take(record("pack", "", 500))
			flush(t, after)
			if got := read(t, after, "pack", 0, math.MaxInt64); len(got) != 1 {
				t.Errorf("%d records in the new file", len(got))
			}
			if logs.Len() != 1 {
				t.Fatalf("logged %v", logs.All())
			}
			aside := logs.All()[0].ContextMap()["aside"].(string)
			if string(whole(t, aside)) != string(spoilt) || !strings.HasPrefix(aside, path+".damaged-") {
				t.Errorf("%s is not what was there", aside)
			}
		})
	}
}

func TestAFolderThatIsNotThere(t *testing.T) {
	_, err := trail.Open(filepath.Join(t.TempDir(), "none", trail.FileName), trail.Config{Keep: day, Log: zap.NewNop()})
	if !errors.Is(err, os.ErrNotExist) {
		t.Errorf("opened: %v", err)
	}
}

func whole(t *testing.T, path string) []byte {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return text
}

func write(t *testing.T, path string, text []byte) {
	t.Helper()
	if err := os.WriteFile(path, text, 0o600); err != nil {
		t.Fatal(err)
	}
}
