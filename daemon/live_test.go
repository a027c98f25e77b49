//go:build linux

package daemon_test

import (
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"runtime"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

var (
	swaps       = flag.Int("swaps", map[bool]int{false: 8, true: 2}[raced], "how often TestSwapsUnderLoad swaps the estimator")
	swapPause   = flag.Duration("swap-pause", 0, "how long TestSwapsUnderLoad waits between two swaps")
	pluginKills = flag.Int("plugin-kills", map[bool]int{false: 3, true: 2}[raced], "how many plugins TestPluginsKilledUnderLoad kills")
)

// holdings are the goroutines and open files of this process.
func holdings(t *testing.T) (goroutines, files int) {
	t.Helper()
	open, err := os.ReadDir("/proc/self/fd")
	if err != nil {
		t.Fatal(err)
	}
	return runtime.NumGoroutine(), len(open)
}

// TestSwapsUnderLoad swaps the estimator again and again while four channels are read at 10 kHz: three listeners get each sequence once and in order,
// and nothing is left of an estimator that was. How late frames come with swaps and without is logged, not judged: that is the machine's.
func TestSwapsUnderLoad(t *testing.T) {
	r := startLive(t, patience+time.Duration(*swaps)*(2*time.Second+*swapPause), fourfold)
	for _, s := range r.listeners {
		s.lateness() // of the start
	}
	r.wait(min(30*time.Second, time.Duration(*swaps)*200*time.Millisecond))
	var without, with []string
	for _, s := range r.listeners {
		without = append(without, s.lateness().String())
	}
	swap := func(k int) time.Duration {
		began := time.Now()
		last := swapTo(t, r.served, "fixedzero", map[string]any{"zero": "declared", "channels": map[string]any{"a1": map[string]any{"offset_amperes": float64(k % 7)}}})
		if last.GetStep() != ampledgerv1.SwapStep_SWAP_STEP_SWAPPED {
			t.Fatalf("swap %d ended with %v", k, last)
		}
		return time.Since(began)
	}
	swap(0) // whatever is made once is made
	goroutines, files := holdings(t)
	var took []time.Duration
	late := make([][]time.Duration, len(r.listeners)) // of the frames that came while a swap was going on
	for k := range *swaps {
		for _, s := range r.listeners {
			s.takeLate()
		}
		took = append(took, swap(k))
		for i, s := range r.listeners {
			late[i] = append(late[i], s.takeLate()...)
		}
		r.wait(*swapPause)
	}
	for _, each := range late {
		with = append(with, quantilesOf(each).String())
	}
	if !until(r.ctx, func() bool {
		g, f := holdings(t)
		return g <= goroutines+3 && f <= files+3
	}) {
		g, f := holdings(t)
		t.Errorf("%d goroutines and %d files after %d swaps, %d and %d before", g, f, *swaps, goroutines, files)
	}
	r.finish()
	t.Logf("%d swaps, %v each", *swaps, quantilesOf(took))
	t.Logf("frames come after their last scan by\n without swaps %s\n with swaps    %s", strings.Join(without, "; "), strings.Join(with, "; "))
}

// pluginsOf gives the plugin processes of this one, by what they are.
func pluginsOf(t *testing.T) (drivers, estimators []int) {
	t.Helper()
	for _, pid := range childrenOf(t, os.Getpid()) {
		line, err := os.ReadFile(fmt.Sprintf("/proc/%d/cmdline", pid))
		if err != nil {
			continue // it has ended
		}
		switch words := strings.Split(string(line), "\x00"); {
		case slices.ContainsFunc(words, func(w string) bool { return strings.HasPrefix(w, "driver/") }):
			drivers = append(drivers, pid)
		case slices.ContainsFunc(words, func(w string) bool { return strings.HasPrefix(w, "estimator/") }):
			estimators = append(estimators, pid)
		}
	}
	return drivers, estimators
}

// kill kills a plugin and waits until another has taken its place.
func (r *running) kill(t *testing.T, random *rand.Rand) (driver bool, recovered time.Duration) {
	t.Helper()
	drivers, estimators := pluginsOf(t)
	all := append(drivers, estimators...)
	if len(drivers) != 2 || len(estimators) != 1 {
		t.Fatalf("drivers %v and estimators %v run", drivers, estimators)
	}
	pick := random.IntN(len(all))
	witness := r.listeners[0]
	witness.mu.Lock()
	jumped := witness.jumped
	witness.mu.Unlock()
	generation := r.estimator(t).GetGeneration()
	began := time.Now()
	if err := syscall.Kill(all[pick], syscall.SIGKILL); err != nil {
		t.Fatal(err)
	}
	driver = pick < len(drivers)
	back := func() bool { e := r.estimator(t); return e.GetAlive() && e.GetGeneration() > generation }
	if driver {
		back = witness.seen(func(s *listener) bool { return s.jumped >= jumped+2 }) // both channels
	}
	if !until(r.ctx, back) {
		t.Fatalf("plugin %d did not come back", pick)
	}
	return driver, time.Since(began)
}

// checkGaps wants the statement of each channel to declare the gaps that the listeners saw, and no other.
func (r *running) checkGaps(t *testing.T) (gaps int) {
	t.Helper()
	statement, err := r.Charge.GetStatement(r.ctx, &ampledgerv1.GetStatementRequest{Conductor: "pack"})
	if err != nil {
		t.Fatal(err)
	}
	for _, account := range statement.GetAccounts() {
		saw := r.listeners[0].jumps[account.GetChannel()]
		for k, s := range r.listeners {
			if diff := cmp.Diff(saw, s.jumps[account.GetChannel()], cmp.AllowUnexported(jump{})); diff != "" {
				t.Errorf("%s: gaps of listener %d (-first +this):\n%s", account.GetChannel(), k, diff)
			}
		}
		if stated := account.GetGaps().GetGapCount(); stated != uint64(len(saw)) {
			t.Errorf("%s: %d gaps are stated, the listeners saw %d", account.GetChannel(), stated, len(saw))
		}
		for _, g := range account.GetLongestGaps() {
			if !slices.Contains(saw, jump{g.GetBeforeSequence(), g.GetAfterSequence()}) || !slices.Contains(g.GetCauses(), "restart") {
				t.Errorf("%s: the gap %v was not seen", account.GetChannel(), g)
			}
		}
		gaps += len(saw)
	}
	return gaps
}

// TestPluginsKilledUnderLoad kills plugins by chance while four channels are read: listeners get each sequence once and in order, each driver's death is
// a gap on its own channels with its sequences, as they saw it, and nothing else is missing; all come back.
func TestPluginsKilledUnderLoad(t *testing.T) {
	r := startLive(t, patience+time.Duration(*pluginKills)*5*time.Second, fourfold)
	random := rand.New(rand.NewPCG(5, 5))
	var drivers, estimators []time.Duration
	for range *pluginKills {
		driver, recovered := r.kill(t, random)
		if driver {
			drivers = append(drivers, recovered)
		} else {
			estimators = append(estimators, recovered)
		}
		r.wait(750*time.Millisecond + rand.N(300*time.Millisecond)) // longer than was waited for it: else the next wait is longer
	}
	r.finish()
	if gaps := r.checkGaps(t); gaps != 2*len(drivers) {
		t.Errorf("%d gaps on four channels, want two for each of the %d drivers that were killed", gaps, len(drivers))
	}
	r.checkFaults(t, len(drivers), len(estimators))
	t.Logf("drivers give readings again after %v; estimators are in force again after %v", quantilesOf(drivers), quantilesOf(estimators))
}

// checkFaults wants each death told, with the plugin's name, and its end.
func (r *running) checkFaults(t *testing.T, drivers, estimators int) {
	t.Helper()
	told := map[string]int{}
	request := &ampledgerv1.ListEventsRequest{}
	for more := true; more; more = request.GetPageToken() != "" {
		page, err := r.Abuse.ListEvents(r.ctx, request)
		if err != nil {
			t.Fatal(err)
		}
		request.PageToken = page.GetNextPageToken()
		for _, e := range page.GetEvents() {
			if e.GetKind() != "device" && e.GetKind() != "estimator" {
				continue // a busy machine may leave a channel stale for a while
			}
			told[e.GetKind()+" "+e.GetState().String()]++
			if !strings.Contains(e.GetDetail(), "driver simulate: ") && !strings.Contains(e.GetDetail(), "estimator fixedzero: ") {
				t.Errorf("event %v does not name the plugin", e)
			}
			if e.GetKind() == "estimator" && (e.GetEstimator() != "fixedzero" || e.GetEstimatorGeneration() == 0) {
				t.Errorf("event %v does not name the estimator", e)
			}
		}
	}
	want := map[string]int{}
	for kind, n := range map[string]int{"device": drivers, "estimator": estimators} {
		if n > 0 {
			want[kind+" EVENT_STATE_RAISED"], want[kind+" EVENT_STATE_CLEARED"] = n, n
		}
	}
	if diff := cmp.Diff(want, told); diff != "" {
		t.Errorf("events (-want +got):\n%s", diff)
	}
}

// TestQuarantineIsListed kills an estimator that may fail once: that it is quarantined is listed and told, until somebody swaps.
func TestQuarantineIsListed(t *testing.T) {
	r := startLive(t, patience, strings.Replace(fourfold, "most_failures: 100000", "most_failures: 1", 1))
	before := r.estimator(t)
	if before.GetQuarantined() {
		t.Errorf("%v works", before)
	}
	if err := syscall.Kill(int(before.GetProcessId()), syscall.SIGKILL); err != nil {
		t.Fatal(err)
	}
	if !until(r.ctx, func() bool { return r.estimator(t).GetQuarantined() }) {
		t.Fatal("it is not quarantined")
	}
	held := r.estimator(t)
	if held.GetAlive() || held.GetGeneration() != before.GetGeneration() || len(held.GetEstimates()) == 0 || held.GetFault() == "" {
		t.Errorf("%v is quarantined", held)
	}
	states := func() (states string) {
		page, err := r.Abuse.ListEvents(r.ctx, &ampledgerv1.ListEventsRequest{})
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range page.GetEvents() {
			if e.GetKind() == "estimator" {
				states += strings.TrimPrefix(e.GetState().String(), "EVENT_STATE_") + " "
			}
		}
		return states
	}
	if !until(r.ctx, func() bool { return states() == "RAISED OPERATED " }) {
		t.Errorf("the log says %s", states())
	}
	if last := swapTo(t, r.served, "fixedzero", map[string]any{"zero": "declared", "channels": map[string]any{"a1": map[string]any{"offset_amperes": 1}}}); last.GetStep() != ampledgerv1.SwapStep_SWAP_STEP_SWAPPED {
		t.Fatalf("the swap ended with %v", last)
	}
	if now := r.estimator(t); now.GetQuarantined() || !now.GetAlive() {
		t.Errorf("after a swap: %v", now)
	}
	if !until(r.ctx, func() bool { return states() == "RAISED OPERATED CLEARED " }) {
		t.Errorf("the log says %s", states())
	}
}
