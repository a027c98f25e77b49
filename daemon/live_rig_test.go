//go:build linux

package daemon_test

import (
	"context"
	"fmt"
	"math"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/ampledger/ampledger/client"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
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

// listener takes all readings of the conductor and writes down what is odd about them.
type listener struct {
	mu     sync.Mutex
	newest map[string]*ampledgerv1.Frame
	jumps  map[string][]jump
	jumped int // on any channel
	faults []string
	late   []time.Duration // of each frame: its arrival after its last scan
}

// subscribe takes readings from the oldest on until ctx ends.
func listen(ctx context.Context, t *testing.T, socket string, listeners *sync.WaitGroup) *listener {
	t.Helper()
	c, err := client.Dial(socket)
	if err != nil {
		t.Fatal(err)
	}
	s := &listener{newest: map[string]*ampledgerv1.Frame{}, jumps: map[string][]jump{}}
	stream, err := c.Readings.StreamReadings(ctx, &ampledgerv1.StreamReadingsRequest{Conductor: "pack", FromOldest: true})
	if err != nil {
		t.Fatal(err)
	}
	listeners.Go(func() {
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

func (s *listener) fault(text string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.faults = append(s.faults, text)
}

// shortestGap is longer than any time from one frame to the next where nothing is missing.
const shortestGap = 100 * time.Millisecond

func (s *listener) take(item *ampledgerv1.StreamReadingsResponse, now time.Time) {
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
func (s *listener) lateness() quantiles { return quantilesOf(s.takeLate()) }

func (s *listener) takeLate() []time.Duration {
	s.mu.Lock()
	defer s.mu.Unlock()
	late := s.late
	s.late = nil
	return late
}

func (s *listener) seen(what func(*listener) bool) func() bool {
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

// running is the live rig with three listeners.
type running struct {
	*served
	listeners []*listener
	finish    func() // ends the listeners, wants each sequence once and in order at each of them, and the same gaps
}

func startLive(t *testing.T, limit time.Duration, text string) *running {
	t.Helper()
	c, _ := load(t, text)
	r := &running{served: serveFor(t, c, limit)}
	ctx, cancel := context.WithCancel(r.ctx)
	var following sync.WaitGroup
	for range 3 {
		r.listeners = append(r.listeners, listen(ctx, t, c.Listen.Unix, &following))
	}
	r.finish = sync.OnceFunc(func() {
		cancel()
		following.Wait()
		for _, s := range r.listeners {
			for _, fault := range s.faults {
				t.Error(fault)
			}
		}
	})
	t.Cleanup(r.finish)
	all := func(s *listener) bool { return len(s.newest) == 4 }
	for _, s := range r.listeners {
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
