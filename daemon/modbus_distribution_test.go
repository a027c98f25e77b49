//go:build distribution && linux

package daemon_test

import (
	"context"
	"flag"
	"fmt"
	"math"
	"sync"
	"testing"
	"time"

	"github.com/ampledger/ampledger/plugins/driver/modbus/modbustest"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

var meterMinutes = flag.Float64("meter-minutes", 0.15, "how long the meter that fails is polled")

// instant is what one scan has: the current with the time it was given, and by the server's own word its charge so far and when that was.
type instant struct {
	at, amperes         float64
	coulombs, sampledAt float64
	values              int
}

// instants are all scans of two conductors.
type instants struct {
	mu    sync.Mutex
	of    map[uint64]*instant
	clock int64         // ns, taken off all times, so that little is lost of them
	came  chan struct{} // there is something new
}

func (all *instants) take(item *ampledgerv1.StreamReadingsResponse) error {
	f := item.GetFrame()
	if f == nil {
		return fmt.Errorf("readings were lost: %v", item)
	}
	all.mu.Lock()
	defer all.mu.Unlock()
	for k, y := range f.GetCurrentAmperes() {
		all.add(f, k, y)
	}
	select {
	case all.came <- struct{}{}:
	default:
	}
	return nil
}

func (all *instants) add(f *ampledgerv1.Frame, k int, y float64) {
	sequence, at := f.GetFirstSequence()+uint64(k), f.GetFirstMonotonicNanos()+int64(k)*f.GetPeriodNanos()
	if f.GetPeriodNanos() == 0 {
		at = f.GetFirstMonotonicNanos() + f.GetOffsetNanos()[k]
	}
	if all.clock == 0 {
		all.clock = at
	}
	if all.of[sequence] == nil {
		all.of[sequence] = &instant{at: float64(at-all.clock) * 1e-9}
	}
	i := all.of[sequence]
	switch f.GetChannel() {
	case "meter":
		i.amperes = y
	case "integral":
		i.coulombs = y
	case "sampled":
		i.sampledAt = y - float64(all.clock)*1e-9
	}
	i.values++
}

// through waits until all values of a scan have come.
func (all *instants) through(ctx context.Context, t *testing.T, sequence uint64) {
	t.Helper()
	for {
		all.mu.Lock()
		there := all.of[sequence] != nil && all.of[sequence].values == 3
		all.mu.Unlock()
		if there {
			return
		}
		select {
		case <-all.came:
		case <-ctx.Done():
			t.Fatalf("scan %d did not come whole: %v", sequence, ctx.Err())
		}
	}
}

// between gives the server's own charge between the times that two scans have, which are not quite those at which it sampled.
func (from *instant) between(to *instant) float64 {
	return to.coulombs - from.coulombs + to.amperes*(to.at-to.sampledAt) - from.amperes*(from.at-from.sampledAt)
}

// TestAMeterThatFails polls a server that has nothing in common with the driver 10 times a second through the whole daemon. One answer in twelve is late
// beyond patience, an exception, missing, damaged, another server's, or a connection closed, all others take up to 40 ms. The charge must be the server's own
// integral, within what the statement says of it; where nothing was lost, within what the times of the readings leave open.
func TestAMeterThatFails(t *testing.T) {
	c, _ := load(t, fmt.Sprintf(`
state: state
listen: {unix: s}
ledger: {interval_seconds: 5}
devices:
  - name: meter
    driver: modbus
    with:
      tcp: 127.0.0.1:%s
      rate_hertz: 10
      timeout_seconds: 0.25
      reads:
        - registers: input
          inputs:
            - {name: current, address: 0, type: float64, order: dcba, unit: A, averaging: false, plausible: [-100, 100]}
            - {name: integral, address: 4, type: int64, order: cdab, unit: "1", scale: 1.0e-6, averaging: false}
            - {name: sampled, address: 8, type: int64, unit: "1", scale: 1.0e-9, averaging: false}
conductors:
  - name: pack
    channels: [{name: meter, device: meter, input: current, reported: {}, gap_bound_amperes: 10}]
  - name: truth
    channels:
      - {name: integral, device: meter, input: integral, reported: {}, gap_bound_amperes: 1}
      - {name: sampled, device: meter, input: sampled, reported: {}, gap_bound_amperes: 1}
`, modbustest.Meter(t, "tcp", "0.083", "6")))
	s := serve(t, c)
	span := time.Duration(*meterMinutes * float64(time.Minute))
	ctx, cancel := context.WithTimeout(t.Context(), span+patience)
	defer cancel()
	s.ctx = ctx
	all := &instants{of: map[uint64]*instant{}, came: make(chan struct{}, 1)}
	var following sync.WaitGroup
	for _, conductor := range []string{"pack", "truth"} {
		following.Go(func() {
			request := &ampledgerv1.StreamReadingsRequest{Conductor: conductor, FromOldest: true}
			if err := s.FollowReadings(ctx, request, all.take); err != nil && ctx.Err() == nil {
				t.Errorf("%s: %v", conductor, err)
			}
		})
	}
	<-time.After(span)
	a := statementOf(t, s)
	all.through(ctx, t, a.GetLastSequence())
	cancel()
	following.Wait()
	judge(t, a, all)
}

// judge holds the statement against the server.
func judge(t *testing.T, a *ampledgerv1.Account, all *instants) {
	first, last := all.of[a.GetFirstSequence()], all.of[a.GetLastSequence()]
	net, u := float64(a.GetNetMicrocoulombs())*1e-6, a.GetUncertainty()
	off := net - first.between(last)
	unbroken, runs := all.unbroken(a)
	t.Logf("%d readings in %.1f s, %d lost, %d gaps of %.2f s in all", a.GetReadingCount(), float64(a.GetDurationNanos())*1e-9, a.GetUnusable().GetLostCount(),
		a.GetGaps().GetGapCount(), float64(a.GetGaps().GetDurationNanos())*1e-9)
	t.Logf("charge %.3f C, the server's own %.3f C: off by %.3f C, stated ± %.3f C (95 %%), of it %.3f C standard from the times, %.3f C from the gaps",
		net, first.between(last), off, u.GetInterval95Coulombs(), u.GetNoiseCoulombs(), u.GetGapCoulombs())
	t.Logf("in the %d stretches without a gap it is off by %.3f C", runs, unbroken)
	switch {
	case a.GetUnusable().GetLostCount() == 0 || a.GetGaps().GetGapCount() == 0:
		t.Error("the server has not failed")
	case u.GetNoiseCoulombs() == 0:
		t.Error("the times are stated to be exact")
	case math.Abs(off) > u.GetInterval95Coulombs():
		t.Errorf("off by %.3f C, stated are ± %.3f C", off, u.GetInterval95Coulombs())
	case math.Abs(unbroken) > 3*u.GetNoiseCoulombs():
		t.Errorf("off by %.3f C without the gaps, stated are %.3f C", unbroken, u.GetNoiseCoulombs())
	}
}

// unbroken sums what the trapezoid between scans that follow on each other is off, and counts the stretches of such.
func (all *instants) unbroken(a *ampledgerv1.Account) (off float64, runs int) {
	for sequence := a.GetFirstSequence(); sequence < a.GetLastSequence(); sequence++ {
		from, to := all.of[sequence], all.of[sequence+1]
		if from == nil || to == nil {
			continue
		}
		if all.of[sequence-1] == nil {
			runs++
		}
		off += (from.amperes+to.amperes)/2*(to.at-from.at) - from.between(to)
	}
	return off, runs
}
