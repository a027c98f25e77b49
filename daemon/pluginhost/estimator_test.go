//go:build unix

package pluginhost_test

import (
	"context"
	"errors"
	"runtime"
	"slices"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"google.golang.org/protobuf/testing/protocmp"

	"github.com/ampledger/ampledger/daemon/pluginhost"
	"github.com/ampledger/ampledger/plugins/plugin"
)

func summary(device string, last uint64) *plugin.Summary {
	return &plugin.Summary{Device: device, LastSequence: last, Channels: []*plugin.ChannelSummary{{Name: "shunt"}}}
}

func TestGoodEstimator(t *testing.T) {
	t.Parallel()
	host, _ := newHost(t)
	e := startEstimator(t, host, "good", nil, nil)
	if e.Method != "counts for pack" {
		t.Errorf("method %q", e.Method)
	}
	for k := range 3 {
		got, err := e.Observe(t.Context(), summary("adc0", uint64(k)))
		if err != nil {
			t.Fatal(err)
		}
		want := []*plugin.ChannelEstimate{{Name: "shunt", OffsetAmperes: float64(k + 1), StandardUncertaintyAmperes: 0.5, WalkAmperesPerRootSecond: 0.25}}
		if diff := cmp.Diff(want, got.GetChannels(), protocmp.Transform()); diff != "" {
			t.Error("(-want +got):\n", diff)
		}
	}
}

func TestSnapshotGoesRound(t *testing.T) {
	t.Parallel()
	host, _ := newHost(t)
	first := startEstimator(t, host, "counting", nil, nil)
	for k := range 2 {
		if _, err := first.Observe(t.Context(), summary("adc0", uint64(k))); err != nil {
			t.Fatal(err)
		}
	}
	state, err := first.Snapshot(t.Context())
	if err != nil || string(state) != "counting/1 2" {
		t.Fatalf("snapshot %q, %v", state, err)
	}
	got, err := startEstimator(t, host, "counting", nil, state).Observe(t.Context(), summary("adc0", 2))
	if err != nil || got.GetChannels()[0].GetOffsetAmperes() != 3 {
		t.Errorf("after the snapshot: %v, %v; want the third summary's", got, err)
	}
}

func TestEstimatorThatDoesNotStart(t *testing.T) {
	t.Parallel()
	state := []byte("kalman/2 …")
	for name, c := range map[string]struct {
		program  string
		settings with
		state    []byte
		want     string
	}{
		"an unknown setting": {"counting", with{"hwo": "nan"}, nil, `estimator counting: unknown setting "hwo"`},
		"another's state":    {"counting", nil, state, "estimator counting: restoring its state: no snapshot of counting/1: input does not match format"},
		"hangs in Restore":   {"counting", with{"how": "hang at restore"}, state, "estimator counting: restoring its state: no answer to Restore within 500ms"},
		"cannot restore":     {"forger", nil, state, "estimator forger: restoring its state: is a plugin of another kind: method Restore not implemented"},
		"of another kind":    {"liar", nil, nil, "estimator liar: is a plugin of another kind: unknown service ampledger.plugin.v1.EstimatorService"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			host, _ := newHost(t)
			if name == "hangs in Restore" {
				host.Deadlines.Configure = 500 * time.Millisecond
			}
			_, err := host.StartEstimator(t.Context(), shipped(c.program), pack, c.settings, pluginhost.Kept{State: c.state})
			wantError(t, err, c.want)
		})
	}
}

func TestAnswersThatAreNotBelieved(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct{ program, device, how, want string }{
		"for another summary":               {"forger", "adc0", "", "answered for adc0 through 8, asked for adc0 through 9"},
		"for another device":                {"forger", "adc1", "", "answered for adc0 through 9, asked for adc1 through 9"},
		"for another channel":               {"counting", "adc0", "another channel", `channel "hall": was not asked for`},
		"twice for a channel":               {"counting", "adc0", "twice", `channel "shunt": answered twice`},
		"not a number":                      {"counting", "adc0", "nan", `channel "shunt": estimate NaN A ± 0.5 A, walk 0.25 A/√s makes no sense`},
		"beyond full scale":                 {"counting", "adc0", "beyond full scale", `channel "shunt": an offset of -500.5 A is beyond the channel's full scale of 500 A`},
		"negative uncertainty":              {"counting", "adc0", "negative uncertainty", `channel "shunt": estimate 1 A ± -1 A, walk 0.25 A/√s makes no sense`},
		"infinite correction":               {"counting", "adc0", "infinite correction", `channel "shunt": estimate 1 A ± 0.5 A, walk 0.25 A/√s makes no sense`},
		"absurd correction":                 {"counting", "adc0", "absurd correction", `channel "shunt": estimate 1 A ± 0.5 A, walk 0.25 A/√s makes no sense`},
		"negative correction's uncertainty": {"counting", "adc0", "negative correction's uncertainty", `channel "shunt": estimate 1 A ± 0.5 A, walk 0.25 A/√s makes no sense`},
		"infinite walk":                     {"counting", "adc0", "infinite walk", `channel "shunt": estimate 1 A ± 0.5 A, walk +Inf A/√s makes no sense`},
		"too many notes":                    {"counting", "adc0", "many notes", "17 notes to one summary, 16 are allowed"},
		"a note that is no line":            {"counting", "adc0", "a note of lines", "a note's subject is not one line of 80 bytes at most, or its text of 1000"},
		"none: it hangs":                    {"counting", "adc0", "hang", "no answer to a summary within 300ms"},
		"none: it fails":                    {"counting", "adc0", "fail", "summary of adc0 through 9: singular"},
		"none: it exits":                    {"counting", "adc0", "exit", "process ended (exit status 7): out of memory"},
		"none: it has enough":               {"forgetful", "adc0", "", "ended its session"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			host, _ := newHost(t)
			if c.how == "hang" {
				host.Deadlines.Answer = 300 * time.Millisecond
			}
			settings := with{}
			if c.how != "" {
				settings["how"] = c.how
			}
			e := startEstimator(t, host, c.program, settings, nil)
			for range 2 { // the error ends the session and stays
				_, err := e.Observe(t.Context(), summary(c.device, 9))
				wantError(t, err, "estimator "+c.program+": "+c.want)
			}
		})
	}
}

// An offset as large as the full scale, or on a channel whose full scale is not known, is not refused.
func TestOffsetsUpToFullScale(t *testing.T) {
	t.Parallel()
	host, _ := newHost(t)
	if _, err := startEstimator(t, host, "counting", with{"how": "full scale"}, nil).Observe(t.Context(), summary("adc0", 9)); err != nil {
		t.Error(err)
	}
	unknown := plugin.Conductor{Name: "pack", Channels: []*plugin.Channel{{Name: "shunt"}}}
	e, err := host.StartEstimator(t.Context(), shipped("counting"), unknown, with{"how": "beyond full scale"}, pluginhost.Kept{})
	if err != nil {
		t.Fatal(err)
	}
	defer e.Close()
	if _, err := e.Observe(t.Context(), summary("adc0", 9)); err != nil {
		t.Error(err)
	}
}

// A million estimates that nobody asked for wait in the plugin, not here: flow control lets few of them through, the first is a fault, and no more are read.
func TestFloodOfEstimates(t *testing.T) {
	host, _ := newHost(t)
	e := startEstimator(t, host, "flood", nil, nil)
	// It is held up when it has filled what gRPC lets through: then its process takes no more of the processor.
	waitUntil(10*time.Second, func() bool { return idle(e.PID()) })
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	for range 3 {
		_, err := e.Observe(t.Context(), summary("adc0", 9))
		wantError(t, err, "estimator flood: answered for adc0 through 1000, asked for adc0 through 9")
	}
	runtime.GC()
	runtime.ReadMemStats(&after)
	if before.HeapAlloc > 50<<20 || after.HeapAlloc > 50<<20 {
		t.Errorf("%d bytes are held before it is asked, %d after", before.HeapAlloc, after.HeapAlloc)
	}
}

// idle tells that a process takes hardly any processor time.
func idle(pid int) bool {
	before, _ := pluginhost.UsageOf(pid)
	<-time.After(100 * time.Millisecond)
	after, _ := pluginhost.UsageOf(pid)
	return after.Processor-before.Processor <= 10*time.Millisecond
}

// An answer that comes when its deadline is over is not taken for the next summary's: the session has ended.
func TestLateAnswer(t *testing.T) {
	t.Parallel()
	host, _ := newHost(t)
	host.Deadlines.Answer = 300 * time.Millisecond
	e := startEstimator(t, host, "late", nil, nil)
	for k := range uint64(2) {
		_, err := e.Observe(t.Context(), summary("adc0", 9+10*k))
		wantError(t, err, "estimator late: no answer to a summary within 300ms")
	}
}

func TestPlayOperatorsThatAreAskedFor(t *testing.T) {
	t.Parallel()
	host, _ := newHost(t)
	e := startEstimator(t, host, "counting", with{"widths": []any{0.5, 20}}, nil)
	if diff := cmp.Diff(map[string][]float64{"hall": {}, "shunt": {0.5, 20}}, e.Bases, cmpopts.EquateEmpty()); diff != "" {
		t.Error("(-want +got):\n", diff)
	}
	for name, c := range map[string]struct {
		widths []any
		want   string
	}{
		"none at all":  {[]any{1, 0}, `channel "shunt": wants a play operator of half-width 0 A`},
		"negative":     {[]any{-1}, `channel "shunt": wants a play operator of half-width -1 A`},
		"far too many": {slices.Repeat([]any{1}, 33), `channel "shunt": wants 33 play operators, 32 are allowed`},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			_, err := host.StartEstimator(t.Context(), shipped("counting"), pack, with{"widths": c.widths}, pluginhost.Kept{})
			wantError(t, err, "estimator counting: "+c.want)
		})
	}
}

func TestNotesComeWithTheAnswer(t *testing.T) {
	t.Parallel()
	host, _ := newHost(t)
	answer, err := startEstimator(t, host, "counting", with{"how": "note"}, nil).Observe(t.Context(), summary("adc0", 1))
	want := []*plugin.Note{{Channel: "shunt", Subject: "rest rejected", Text: "summary 1"}}
	if diff := cmp.Diff(want, answer.GetNotes(), protocmp.Transform()); err != nil || diff != "" {
		t.Error(err, "(-want +got):\n", diff)
	}
}

func TestObserveEndsWithItsContext(t *testing.T) {
	t.Parallel()
	host, written := newHost(t)
	e := startEstimator(t, host, "counting", with{"how": "hang"}, nil)
	_, err := e.Observe(cancelAt(t, "waiting", written), summary("adc0", 9))
	wantError(t, err, "estimator counting: context canceled")
	if !errors.Is(err, context.Canceled) {
		t.Error("the cause is lost")
	}
}

func TestSnapshotHangs(t *testing.T) {
	t.Parallel()
	host, _ := newHost(t)
	host.Deadlines.Answer = 300 * time.Millisecond
	e := startEstimator(t, host, "counting", with{"how": "hang at snapshot"}, nil)
	_, err := e.Snapshot(t.Context())
	wantError(t, err, "estimator counting: no answer to Snapshot within 300ms")
}

// The context a session was opened with ends nothing: only Close does.
func TestSessionOutlivesItsStart(t *testing.T) {
	t.Parallel()
	host, _ := newHost(t)
	ctx, cancel := context.WithCancel(t.Context())
	e, err := host.StartEstimator(ctx, shipped("good"), pack, nil, pluginhost.Kept{})
	if err != nil {
		t.Fatal(err)
	}
	cancel()
	if _, err := e.Observe(t.Context(), summary("adc0", 1)); err != nil {
		t.Error(err)
	}
	e.Close()
	_, err = e.Observe(t.Context(), summary("adc0", 2))
	wantError(t, err, "estimator good: was closed")
	closed(t, e.Process)
}

func TestEstimatorIsClosedAtWork(t *testing.T) {
	t.Parallel()
	host, written := newHost(t)
	e := startEstimator(t, host, "counting", with{"how": "hang"}, nil)
	working := make(chan error)
	go func() {
		_, err := e.Observe(context.WithoutCancel(t.Context()), summary("adc0", 1))
		working <- err
	}()
	if line := <-written; line != "waiting" {
		t.Fatalf("it wrote %q", line)
	}
	var closing sync.WaitGroup
	for range 3 {
		closing.Go(e.Close)
	}
	wantError(t, <-working, "estimator counting: was closed")
	closing.Wait()
}

func TestEstimatorIsKilledBetweenTwoSummaries(t *testing.T) {
	t.Parallel()
	host, _ := newHost(t)
	e := startEstimator(t, host, "good", nil, nil)
	if _, err := e.Observe(t.Context(), summary("adc0", 1)); err != nil {
		t.Fatal(err)
	}
	if err := syscall.Kill(e.PID(), syscall.SIGKILL); err != nil {
		t.Fatal(err)
	}
	_, err := e.Observe(t.Context(), summary("adc0", 2))
	wantError(t, err, "estimator good: process ended (signal: killed)")
	_, err = e.Snapshot(t.Context())
	wantError(t, err, "estimator good: process ended (signal: killed)")
}
