//go:build linux

package daemon_test

import (
	"context"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"runtime"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"github.com/ampledger/ampledger/client"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

var (
	swaps       = flag.Int("swaps", map[bool]int{false: 8, true: 4}[raced], "how often TestSwapsUnderLoad swaps the estimator")
	pluginKills = flag.Int("plugin-kills", 3, "how many plugins TestPluginsKilledUnderLoad kills")
)

// fourfold is a conductor of four channels on two devices at 10 kHz. Half a second is a summary.
const fourfold = `
state: state
listen: {unix: s}
devices:
  - {name: a, summary_scans: 5000, driver: simulate, with: {seed: 7, rate_hertz: 10000, speed: 1, frame_scans: 100, duty: [{seconds: 360000, mean_amperes: 40, amplitude_amperes: 30, period_seconds: 0.1}],
      shunt: {resistance_ohms: 0.0001, gain: 50, bits: 16, volts_per_code: 0.0001, noise_amperes: 0.06}, magnetic: {volts_per_ampere: 0.0033, zero_volts: 2.5, bits: 16, signed: false, volts_per_code: 0.0000763, noise_amperes: 0.4}}}
  - {name: b, summary_scans: 5000, driver: simulate, with: {seed: 8, rate_hertz: 10000, speed: 1, frame_scans: 100, duty: [{seconds: 360000, mean_amperes: 40, amplitude_amperes: 30, period_seconds: 0.1}],
      shunt: {resistance_ohms: 0.0001, gain: 50, bits: 16, volts_per_code: 0.0001, noise_amperes: 0.06}, magnetic: {volts_per_ampere: 0.0033, zero_volts: 2.5, bits: 16, signed: false, volts_per_code: 0.0000763, noise_amperes: 0.4}}}
conductors:
  - name: pack
    channels:
      - {name: a1, device: a, input: shunt_code, shunt: {resistance_ohms: 0.0001, gain: 50}, noise_amperes: 0.06, zero_uncertainty_amperes: 0.5}
      - {name: a2, device: a, input: magnetic_code, magnetic: {volts_per_ampere: 0.0033, zero_volts: 2.5}, noise_amperes: 0.4, zero_uncertainty_amperes: 2}
      - {name: b1, device: b, input: shunt_code, shunt: {resistance_ohms: 0.0001, gain: 50}, noise_amperes: 0.06, zero_uncertainty_amperes: 0.5}
      - {name: b2, device: b, input: magnetic_code, magnetic: {volts_per_ampere: 0.0033, zero_volts: 2.5}, noise_amperes: 0.4, zero_uncertainty_amperes: 2}
    estimator: {plugin: fixedzero, with: {zero: declared, channels: {a1: {offset_amperes: 0}}}, most_failures: 100000}
`

// jump is a place where time goes on after a gap: the sequences before and behind it.
type jump struct{ before, after uint64 }

// subscriber takes all readings of the conductor and writes down what is odd about them.
type subscriber struct {
	mu     sync.Mutex
	newest map[string]*ampledgerv1.Frame
	jumps  map[string][]jump
	jumped int // on any channel
	faults []string
	late   []time.Duration // of each frame: its arrival after its last scan
}

// subscribe takes readings from the oldest on until ctx ends.
func subscribe(ctx context.Context, t *testing.T, socket string, subscribers *sync.WaitGroup) *subscriber {
	t.Helper()
	c, err := client.Dial(socket)
	if err != nil {
		t.Fatal(err)
	}
	s := &subscriber{newest: map[string]*ampledgerv1.Frame{}, jumps: map[string][]jump{}}
	stream, err := c.Readings.StreamReadings(ctx, &ampledgerv1.StreamReadingsRequest{Conductor: "pack", FromOldest: true})
	if err != nil {
		t.Fatal(err)
	}
	subscribers.Go(func() {
		defer c.Close()
		for {
			item, err := stream.Recv()
			if err != nil {
				if ctx.Err() == nil {
					s.fault(err.Error())
				}
				return
			}
			s.take(item, time.Now())
		}
	})
	return s
}

func (s *subscriber) fault(text string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.faults = append(s.faults, text)
}

// shortestGap is longer than any time from one frame to the next where nothing is missing.
const shortestGap = 100 * time.Millisecond

func (s *subscriber) take(item *ampledgerv1.StreamReadingsResponse, now time.Time) {
	f := item.GetFrame()
	if f == nil {
		s.fault(item.String())
		return
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.late = append(s.late, time.Duration(now.UnixNano()-lastWall(f)))
	if before := s.newest[f.GetChannel()]; before != nil {
		last := before.GetFirstSequence() + uint64(len(before.GetCurrentAmperes())) - 1
		if f.GetFirstSequence() != last+1 {
			s.faults = append(s.faults, fmt.Sprintf("%s: sequence %d after %d", f.GetChannel(), f.GetFirstSequence(), last))
		}
		if time.Duration(f.GetFirstWallNanos()-lastWall(before)) > shortestGap {
			s.jumps[f.GetChannel()] = append(s.jumps[f.GetChannel()], jump{last, f.GetFirstSequence()})
			s.jumped++
		}
	}
	s.newest[f.GetChannel()] = f
}

func lastWall(f *ampledgerv1.Frame) int64 {
	return f.GetFirstWallNanos() + int64(len(f.GetCurrentAmperes())-1)*f.GetPeriodNanos()
}

// lateness takes what was gathered since the last call and gives its quantiles.
func (s *subscriber) lateness() quantiles {
	s.mu.Lock()
	defer s.mu.Unlock()
	late := s.late
	s.late = nil
	return quantilesOf(late)
}

func (s *subscriber) seen(what func(*subscriber) bool) func() bool {
	return func() bool {
		s.mu.Lock()
		defer s.mu.Unlock()
		return what(s)
	}
}

// quantiles of times.
type quantiles struct {
	n                  int
	half, p99, longest time.Duration
}

func quantilesOf(times []time.Duration) quantiles {
	if len(times) == 0 {
		return quantiles{}
	}
	sorted := slices.Sorted(slices.Values(times))
	at := func(share float64) time.Duration { return sorted[int(math.Ceil(share*float64(len(sorted))))-1] }
	return quantiles{len(times), at(0.5), at(0.99), at(1)}
}

func (q quantiles) String() string {
	return fmt.Sprintf("p50 %v, p99 %v, longest %v of %d", q.half.Round(10*time.Microsecond), q.p99.Round(10*time.Microsecond), q.longest.Round(10*time.Microsecond), q.n)
}

// running is the live rig with three subscribers.
type running struct {
	*served
	subscribers []*subscriber
	finish      func() // ends the subscribers, wants each sequence once and in order at each of them, and the same gaps
}

func startLive(t *testing.T, limit time.Duration, text string) *running {
	t.Helper()
	c, _ := load(t, text)
	r := &running{served: serveFor(t, c, limit)}
	ctx, cancel := context.WithCancel(r.ctx)
	var following sync.WaitGroup
	for range 3 {
		r.subscribers = append(r.subscribers, subscribe(ctx, t, c.Listen.Unix, &following))
	}
	r.finish = sync.OnceFunc(func() {
		cancel()
		following.Wait()
		for _, s := range r.subscribers {
			for _, fault := range s.faults {
				t.Error(fault)
			}
		}
	})
	t.Cleanup(r.finish)
	all := func(s *subscriber) bool { return len(s.newest) == 4 }
	for _, s := range r.subscribers {
		if !until(r.ctx, s.seen(all)) {
			t.Fatal("not every channel gives readings")
		}
	}
	if !until(r.ctx, func() bool { e := r.estimator(t); return e.GetAlive() && len(e.GetEstimates()) > 0 }) {
		t.Fatal("the estimator does not work")
	}
	return r
}

func (r *running) estimator(t *testing.T) *ampledgerv1.Estimator {
	t.Helper()
	list, err := r.Estimators.ListEstimators(r.ctx, &ampledgerv1.ListEstimatorsRequest{})
	if err != nil {
		t.Fatal(err)
	}
	if len(list.GetEstimators()) == 0 {
		return nil
	}
	return list.GetEstimators()[0]
}

// wait lets the rig run for a while.
func (r *running) wait(d time.Duration) {
	select {
	case <-r.ctx.Done():
	case <-time.After(d):
	}
}

// holdings are the goroutines and open files of this process.
func holdings(t *testing.T) (goroutines, files int) {
	t.Helper()
	open, err := os.ReadDir("/proc/self/fd")
	if err != nil {
		t.Fatal(err)
	}
	return runtime.NumGoroutine(), len(open)
}

// TestSwapsUnderLoad swaps the estimator again and again while four channels are read at 10 kHz: three subscribers get each sequence once and in order,
// and nothing is left of an estimator that was. How late frames come with swaps and without is logged, not judged: that is the machine's.
func TestSwapsUnderLoad(t *testing.T) {
	r := startLive(t, patience+time.Duration(*swaps)*2*time.Second, fourfold)
	for _, s := range r.subscribers {
		s.lateness() // of the start
	}
	r.wait(min(30*time.Second, time.Duration(*swaps)*200*time.Millisecond))
	var without, with []string
	for _, s := range r.subscribers {
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
	for k := range *swaps {
		took = append(took, swap(k))
	}
	for _, s := range r.subscribers {
		with = append(with, s.lateness().String())
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
	witness := r.subscribers[0]
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
		back = witness.seen(func(s *subscriber) bool { return s.jumped >= jumped+2 }) // both channels
	}
	if !until(r.ctx, back) {
		t.Fatalf("plugin %d did not come back", pick)
	}
	return driver, time.Since(began)
}

// checkGaps wants the statement of each channel to declare the gaps that the subscribers saw, and no other.
func (r *running) checkGaps(t *testing.T) (gaps int) {
	t.Helper()
	statement, err := r.Charge.GetStatement(r.ctx, &ampledgerv1.GetStatementRequest{Conductor: "pack"})
	if err != nil {
		t.Fatal(err)
	}
	for _, account := range statement.GetAccounts() {
		saw := r.subscribers[0].jumps[account.GetChannel()]
		for k, s := range r.subscribers {
			if diff := cmp.Diff(saw, s.jumps[account.GetChannel()], cmp.AllowUnexported(jump{})); diff != "" {
				t.Errorf("%s: gaps of subscriber %d (-first +this):\n%s", account.GetChannel(), k, diff)
			}
		}
		if stated := account.GetGaps().GetGapCount(); stated != uint64(len(saw)) {
			t.Errorf("%s: %d gaps are stated, the subscribers saw %d", account.GetChannel(), stated, len(saw))
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

// TestPluginsKilledUnderLoad kills plugins by chance while four channels are read: subscribers get each sequence once and in order, each driver's death is
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
