package daemon_test

import (
	"bufio"
	"context"
	"errors"
	"flag"
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"go.uber.org/zap"

	"github.com/ampledger/ampledger/client"
	"github.com/ampledger/ampledger/daemon"
	"github.com/ampledger/ampledger/daemon/config"
	"github.com/ampledger/ampledger/daemon/daemontest"
	"github.com/ampledger/ampledger/daemon/store"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

var kills = flag.Int("kills", map[bool]int{false: 25, true: 6}[raced], "how often TestKilledAtAnyInstant kills the daemon")

// childVariable names the environment variable with the configuration that a child process serves.
const childVariable = "AMPLEDGER_DAEMON_TEST_CHILD"

// serveChild is the daemon as a process of its own, until it is killed. It says when it serves.
func serveChild(path string) int {
	c, err := config.Load(path)
	if err == nil {
		var o *daemon.Options
		if o, err = daemontest.Itself(zap.NewNop()); err == nil {
			o.Ready = func(string) { fmt.Println("ready") }
			err = daemon.Run(context.Background(), c, o)
		}
	}
	fmt.Println(err)
	return 1
}

// loaded is two devices of two channels at 10 kHz. 40 A flow all the time, on the mean; the guard sees each half wave.
const loaded = `
state: state
listen: {unix: s}
ledger: {interval_seconds: 0.05}
devices:
  - {name: a, summary_scans: 500, driver: simulate, with: {seed: 7, rate_hertz: 10000, speed: 1, frame_scans: 200, duty: [{seconds: 360000, mean_amperes: 40, amplitude_amperes: 30, period_seconds: 0.1}],
      shunt: {resistance_ohms: 0.0001, gain: 50, bits: 16, volts_per_code: 0.0001, noise_amperes: 0.06}, magnetic: {volts_per_ampere: 0.0033, zero_volts: 2.5, bits: 16, signed: false, volts_per_code: 0.0000763, noise_amperes: 0.4}}}
  - {name: b, summary_scans: 500, driver: simulate, with: {seed: 8, rate_hertz: 10000, speed: 1, frame_scans: 200, duty: [{seconds: 360000, mean_amperes: 40, amplitude_amperes: 30, period_seconds: 0.1}],
      shunt: {resistance_ohms: 0.0001, gain: 50, bits: 16, volts_per_code: 0.0001, noise_amperes: 0.06}, magnetic: {volts_per_ampere: 0.0033, zero_volts: 2.5, bits: 16, signed: false, volts_per_code: 0.0000763, noise_amperes: 0.4}}}
conductors:
  - name: pack
    channels:
      - {name: shunt, device: a, input: shunt_code, shunt: {resistance_ohms: 0.0001, gain: 50}, noise_amperes: 0.06, zero_uncertainty_amperes: 0.5}
      - {name: magnetic, device: a, input: magnetic_code, magnetic: {volts_per_ampere: 0.0033, zero_volts: 2.5}, noise_amperes: 0.4, zero_uncertainty_amperes: 2}
    estimator: {plugin: biasfilter}
    guard: [{name: half-wave, direction: discharge, instantaneous: {pickup_amperes: 60}}]
  - name: other
    channels:
      - {name: left, device: b, input: shunt_code, shunt: {resistance_ohms: 0.0001, gain: 50}, noise_amperes: 0.06, zero_uncertainty_amperes: 0.5}
      - {name: right, device: b, input: magnetic_code, magnetic: {volts_per_ampere: 0.0033, zero_volts: 2.5}, noise_amperes: 0.4, zero_uncertainty_amperes: 2}
`

// witness is what clients saw of a daemon that was killed again and again.
type witness struct {
	mu       sync.Mutex
	recorded map[string]uint64 // log sequence, by event and state
	newest   uint64            // log sequence
	next     map[string]uint64 // sequence after the newest reading, by channel
	faults   []string
}

func (w *witness) event(r *ampledgerv1.StreamEventsResponse) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	if e := r.GetEvent(); r.GetDelivery() == ampledgerv1.Delivery_DELIVERY_RECORDED {
		w.recorded[e.GetEventId()+e.GetState().String()] = e.GetLogSequence()
		w.newest = max(w.newest, e.GetLogSequence())
	}
	return nil
}

func (w *witness) reading(r *ampledgerv1.StreamReadingsResponse) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	f := r.GetFrame()
	if f == nil {
		return nil
	}
	if f.GetFirstSequence() < w.next[f.GetChannel()] {
		w.faults = append(w.faults, fmt.Sprintf("%s: sequence %d after %d", f.GetChannel(), f.GetFirstSequence(), w.next[f.GetChannel()]))
	}
	w.next[f.GetChannel()] = f.GetFirstSequence() + uint64(len(f.GetCurrentAmperes()))
	return nil
}

// TestKilledAtAnyInstant kills a daemon under load at random instants and starts it again on the same state. After each kill the chain is whole, what
// clients saw as recorded is there, and the ledger's time is the clock's; sequences never go back; at the end the charge is that which
// flowed, within what the gaps are said to hide.
func TestKilledAtAnyInstant(t *testing.T) {
	_, folder := load(t, loaded)
	file := filepath.Join(folder, "pack.yaml")
	w := &witness{recorded: map[string]uint64{}, next: map[string]uint64{}}
	random := rand.New(rand.NewPCG(4, 4))
	slowest := time.Duration(0)
	for range *kills {
		slowest = max(slowest, runAndKill(t, file, w, time.Duration(random.Int64N(int64(time.Second)))))
		checkAfterKill(t, filepath.Join(folder, "state", "ampledger.sqlite"), w)
		if t.Failed() {
			return
		}
	}
	t.Logf("%d kills; slowest start %v; %d changes of events recorded", *kills, slowest, len(w.recorded))
	if len(w.recorded) < *kills {
		t.Errorf("%d changes were seen as recorded: it shows little", len(w.recorded))
	}
	for _, fault := range w.faults {
		t.Error(fault)
	}
}

// startChild starts the daemon as a process of its own and waits until it serves. It ends with ctx.
func startChild(ctx context.Context, t *testing.T, file string) *exec.Cmd {
	t.Helper()
	child := exec.CommandContext(ctx, os.Args[0])
	child.Env = append(os.Environ(), childVariable+"="+file)
	out, err := child.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := child.Start(); err != nil {
		t.Fatal(err)
	}
	if line, err := bufio.NewReader(out).ReadString('\n'); line != "ready\n" {
		t.Errorf("the daemon says %q (%v)", line, err)
	}
	return child
}

// runAndKill runs the daemon, with clients, and kills it some time after it serves.
func runAndKill(t *testing.T, file string, w *witness, after time.Duration) (start time.Duration) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), patience)
	defer cancel()
	began := time.Now()
	child := startChild(ctx, t, file)
	start = time.Since(began)
	watch(ctx, t, filepath.Join(filepath.Dir(file), "s"), w, func() {
		<-time.After(after)
		if err := child.Process.Kill(); err != nil {
			t.Error(err)
		}
	})
	_ = child.Wait() // it was killed
	return start
}

// watch follows events and readings while do is done, and until both streams have broken.
func watch(ctx context.Context, t *testing.T, socket string, w *witness, do func()) {
	t.Helper()
	c, err := client.Dial(socket)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	var following sync.WaitGroup
	w.mu.Lock()
	newest := w.newest
	w.mu.Unlock()
	following.Go(func() {
		stream, err := c.Abuse.StreamEvents(ctx, &ampledgerv1.StreamEventsRequest{AfterLogSequence: &newest})
		for err == nil {
			var item *ampledgerv1.StreamEventsResponse
			if item, err = stream.Recv(); err == nil {
				err = w.event(item)
			}
		}
	})
	for _, conductor := range []string{"pack", "other"} {
		following.Go(func() {
			stream, err := c.Readings.StreamReadings(ctx, &ampledgerv1.StreamReadingsRequest{Conductor: conductor, FromOldest: true})
			for err == nil {
				var item *ampledgerv1.StreamReadingsResponse
				if item, err = stream.Recv(); err == nil {
					err = w.reading(item)
				}
			}
		})
	}
	do()
	following.Wait()
}

// checkAfterKill looks at what is left.
func checkAfterKill(t *testing.T, file string, w *witness) {
	t.Helper()
	left, err := store.OpenReader(file)
	if err != nil {
		t.Fatal(err)
	}
	defer left.Close()
	verified, err := left.Verify(t.Context(), nil)
	if err != nil || len(verified.Faults) > 0 {
		t.Fatalf("the chain: %+v %v", verified, err)
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	missing := maps.Clone(w.recorded)
	for after := uint64(0); ; {
		events, err := left.Events(t.Context(), after, "", 1000)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range events {
			key := e.GetEventId() + e.GetState().String()
			if sequence, seen := w.recorded[key]; seen && sequence != e.GetLogSequence() {
				t.Errorf("%s was seen at log sequence %d and stands at %d", key, sequence, e.GetLogSequence())
			}
			delete(missing, key)
			after = e.GetLogSequence()
		}
		if len(events) < 1000 {
			break
		}
	}
	for key, sequence := range missing {
		t.Errorf("%s was seen as recorded at log sequence %d and is not there", key, sequence)
	}
	checkCharge(t, left)
}

// checkCharge holds the ledger against 40 A.
func checkCharge(t *testing.T, left *store.Reader) {
	t.Helper()
	for conductor, channels := range map[string][]string{"pack": {"shunt", "magnetic"}, "other": {"left", "right"}} {
		for _, channel := range channels {
			filter := store.Filter{Conductor: conductor, Channel: channel, Kinds: []store.Kind{store.Interval, store.Uncounted}}
			from, to, err := left.Span(t.Context(), filter)
			if errors.Is(err, store.ErrNoEntries) {
				continue
			}
			b, err2 := left.Balance(t.Context(), conductor, channel, nil, nil)
			if err = errors.Join(err, err2); err != nil {
				t.Fatal(err)
			}
			if late := time.Duration(to - from - b.DurationNanos); late.Abs() > 50*time.Millisecond {
				t.Errorf("%s: the entries cover %v, their time is %v", channel, time.Duration(to-from), time.Duration(b.DurationNanos))
			}
			seconds := float64(b.DurationNanos) * 1e-9
			allowed := float64(b.GapBoundMicrocoulombs)*1e-6 + 3 + 5*b.ZeroCoulombs + 0.01*40*seconds // half a wave, the zero, the gain
			if off := float64(b.NetMicrocoulombs())*1e-6 - 40*seconds; math.Abs(off) > allowed {
				t.Errorf("%s: %.3f C over %.3f s is %.3f C off, at most %.3f C is stated", channel, float64(b.NetMicrocoulombs())*1e-6, seconds, off, allowed)
			}
		}
	}
}
