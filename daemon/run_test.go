package daemon_test

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/structpb"

	"github.com/ampledger/ampledger/client"
	"github.com/ampledger/ampledger/daemon"
	"github.com/ampledger/ampledger/daemon/config"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// patience bounds every wait of these tests; nothing waits for it when all goes well.
const patience = 30 * time.Second

// served is a daemon at work with a client.
type served struct {
	*client.Client
	ctx  context.Context
	stop func() // ends the daemon and waits
}

// serve runs a daemon until stop or the end of the test.
func serve(t *testing.T, c *config.Config) *served {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	ready, ended := make(chan string, 1), make(chan error, 1)
	o := options(t)
	o.Log = o.Log.WithOptions() // errors are part of these tests
	o.Ready = func(address string) { ready <- address }
	go func() { ended <- daemon.Run(ctx, c, o) }()
	var address string
	select {
	case address = <-ready:
	case err := <-ended:
		cancel()
		t.Fatal(err)
	}
	dialled, err := client.Dial(address)
	if err != nil {
		t.Fatal(err)
	}
	bounded, release := context.WithTimeout(ctx, patience)
	s := &served{Client: dialled, ctx: bounded}
	s.stop = sync.OnceFunc(func() {
		release()
		cancel()
		if err := errors.Join(<-ended, dialled.Close()); err != nil {
			t.Errorf("the daemon ended with: %v", err)
		}
	})
	t.Cleanup(s.stop)
	return s
}

// simulated is a rig of two channels: so many seconds at 1 kHz, 20 of them a second, the first second a rest.
func simulated(seconds int, more string) string {
	return fmt.Sprintf(`
state: state
listen: {unix: s}
ledger: {interval_seconds: 5}
devices:
  - name: rig
    driver: simulate
    with:
      seed: 7
      rate_hertz: 1000
      duration_seconds: %d
      speed: 20
      frame_scans: 250
      duty: [{seconds: 1, contactor_open: true}, {seconds: 3600, mean_amperes: 40, amplitude_amperes: 30, period_seconds: 5}]
      shunt: {resistance_ohms: 0.0001, gain: 50, bits: 16, volts_per_code: 0.0001, noise_amperes: 0.06, offset_amperes: 0.3}
      magnetic: {volts_per_ampere: 0.0033, zero_volts: 2.5, bits: 16, signed: false, volts_per_code: 0.0000763, noise_amperes: 0.4, offset_amperes: 1.1}
%s
conductors:
  - name: pack
    contactor: {device: rig, input: contactor_open}
    channels:
      - {name: shunt, device: rig, input: shunt_code, shunt: {resistance_ohms: 0.0001, gain: 50}, noise_amperes: 0.06, zero_uncertainty_amperes: 0.5}
      - {name: magnetic, device: rig, input: magnetic_code, magnetic: {volts_per_ampere: 0.0033, zero_volts: 2.5}, noise_amperes: 0.4, zero_uncertainty_amperes: 2}
    estimator: {plugin: fixedzero, with: {minimum_rest_seconds: 0.5}}
    guard: [{name: overload, direction: discharge, definite_time: {pickup_amperes: 60, delay_seconds: 0.5}}]
`, seconds, more)
}

// ledgered follows a conductor to its end and checks that each channel's sequences come once, in order, without a hole.
type ledgered struct {
	next     map[string]uint64
	readings map[string]int
	faults   []string
	frames   []*ampledgerv1.Frame
	inForce  func() // called when an estimate is applied for the first time; may be nil
}

func (l *ledgered) take(item *ampledgerv1.StreamReadingsResponse) error {
	f := item.GetFrame()
	if f == nil {
		l.faults = append(l.faults, item.String())
		return nil
	}
	if next, begun := l.next[f.GetChannel()]; begun && f.GetFirstSequence() != next {
		l.faults = append(l.faults, fmt.Sprintf("%s: sequence %d after %d", f.GetChannel(), f.GetFirstSequence(), next))
	}
	l.next[f.GetChannel()] = f.GetFirstSequence() + uint64(len(f.GetCurrentAmperes()))
	l.readings[f.GetChannel()] += len(f.GetCurrentAmperes())
	l.frames = append(l.frames, f)
	if l.inForce != nil && f.GetEstimatorGeneration() > 0 {
		l.inForce()
	}
	return nil
}

func follow(t *testing.T, s *served) *ledgered { return followWith(t, s, nil) }

func followWith(t *testing.T, s *served, inForce func()) *ledgered {
	t.Helper()
	l := &ledgered{next: map[string]uint64{}, readings: map[string]int{}, inForce: inForce}
	err := s.FollowReadings(s.ctx, &ampledgerv1.StreamReadingsRequest{Conductor: "pack", FromOldest: true}, l.take)
	if err != nil {
		t.Fatal(err)
	}
	if len(l.faults) > 0 {
		t.Errorf("not every reading came exactly once: %v", l.faults)
	}
	return l
}

func TestEveryReadingOnceToTheEnd(t *testing.T) {
	c, _ := load(t, simulated(20, ""))
	s := serve(t, c)
	l := follow(t, s)
	if l.readings["shunt"] != 20_000 || l.readings["magnetic"] != 20_000 {
		t.Errorf("%v readings, want 20000 of each", l.readings)
	}
	statement, err := s.Charge.GetStatement(s.ctx, &ampledgerv1.GetStatementRequest{Conductor: "pack"})
	if err != nil {
		t.Fatal(err)
	}
	shunt, magnetic := statement.GetAccounts()[0], statement.GetAccounts()[1]
	u := shunt.GetUncertainty().GetCombinedCoulombs() + magnetic.GetUncertainty().GetCombinedCoulombs()
	if d := absolute(float64(shunt.GetNetMicrocoulombs()-magnetic.GetNetMicrocoulombs())) / 1e6; d > 3*u {
		t.Errorf("the channels differ by %.3f C with a standard uncertainty of %.3f C", d, u)
	}
	// What the simulator put in is found in the rest, to within its noise.
	for _, f := range l.frames[len(l.frames)-2:] {
		want := map[string]float64{"shunt": 0.3, "magnetic": 1.1}[f.GetChannel()]
		if absolute(f.GetOffsetAmperes()-want) > 0.05 {
			t.Errorf("the %s channel's offset is %.3f A, the simulator gave it %.1f A", f.GetChannel(), f.GetOffsetAmperes(), want)
		}
	}
	checkEvents(t, s)
}

// checkEvents wants the overload of each sine period raised, operated and cleared, each told before it is recorded, the log without a hole.
func checkEvents(t *testing.T, s *served) {
	t.Helper()
	page, err := s.Abuse.ListEvents(s.ctx, &ampledgerv1.ListEventsRequest{})
	if err != nil {
		t.Fatal(err)
	}
	var states []string
	for i, e := range page.GetEvents() {
		if e.GetLogSequence() != uint64(i+1) {
			t.Errorf("log sequence %d at place %d", e.GetLogSequence(), i)
		}
		if e.GetElement() == "overload" {
			states = append(states, strings.TrimPrefix(e.GetState().String(), "EVENT_STATE_"))
		}
	}
	if got := strings.Join(states, " "); !strings.HasPrefix(got, "RAISED OPERATED CLEARED RAISED OPERATED CLEARED") {
		t.Errorf("overload went %s", got)
	}
}

// TestSwapLosesNothing swaps the estimator several times in the middle of a run: readings go on, each once, and what is promised of the first
// sequence of the new one holds.
func TestSwapLosesNothing(t *testing.T) {
	c, _ := load(t, simulated(60, ""))
	s := serve(t, c)
	var l *ledgered
	var following sync.WaitGroup
	inForce := make(chan struct{})
	following.Go(func() { l = followWith(t, s, sync.OnceFunc(func() { close(inForce) })) })
	select {
	case <-inForce:
	case <-s.ctx.Done():
		t.Fatal("no estimate came into force")
	}
	generation := map[uint64]uint64{} // by generation: the sequence promised
	for i := range 5 {
		last := swapTo(t, s, "fixedzero", map[string]any{"zero": "declared", "channels": map[string]any{"shunt": map[string]any{"offset_amperes": float64(i)}}})
		if last.GetStep() != ampledgerv1.SwapStep_SWAP_STEP_SWAPPED {
			t.Fatalf("swap %d ended with %v", i, last)
		}
		generation[last.GetGeneration()] = last.GetAtSequence()["rig"]
	}
	failed := swapTo(t, s, "fixedzero", map[string]any{"zero": "nonsense"})
	if failed.GetStep() != ampledgerv1.SwapStep_SWAP_STEP_FAILED || !strings.Contains(failed.GetReason(), "nonsense") {
		t.Errorf("a candidate that refuses its settings ended with %v", failed)
	}
	following.Wait()
	seen := map[uint64]uint64{}
	for _, f := range l.frames {
		if _, known := seen[f.GetEstimatorGeneration()]; !known && f.GetChannel() == "shunt" {
			seen[f.GetEstimatorGeneration()] = f.GetFirstSequence()
		}
	}
	for g, promised := range generation {
		if first, any := seen[g]; any && first != promised {
			t.Errorf("generation %d was promised from sequence %d on and came at %d", g, promised, first)
		}
	}
	list, err := s.Estimators.ListEstimators(s.ctx, &ampledgerv1.ListEstimatorsRequest{})
	if err != nil {
		t.Fatal(err)
	}
	if e := list.GetEstimators()[0]; !e.GetAlive() || generation[e.GetGeneration()] == 0 {
		t.Errorf("after a failed swap %v is in force, not the one before", e)
	}
}

// swapTo swaps and gives the last step.
func swapTo(t *testing.T, s *served, name string, settings map[string]any) (last *ampledgerv1.SwapEstimatorResponse) {
	t.Helper()
	fields, err := structpb.NewStruct(settings)
	if err != nil {
		t.Fatal(err)
	}
	return swapWith(t, s, &ampledgerv1.SwapEstimatorRequest{Conductor: "pack", Plugin: name, Settings: fields})
}

// swapWith gives the last step of a swap.
func swapWith(t *testing.T, s *served, request *ampledgerv1.SwapEstimatorRequest) (last *ampledgerv1.SwapEstimatorResponse) {
	t.Helper()
	stream, err := s.Estimators.SwapEstimator(s.ctx, request)
	for err == nil {
		var step *ampledgerv1.SwapEstimatorResponse
		if step, err = stream.Recv(); err == nil {
			last = step
		}
	}
	if last == nil {
		t.Fatal(err)
	}
	return last
}

// TestRestartContinues runs twice on one state: sequences go on, and the statement covers both runs.
func TestRestartContinues(t *testing.T) {
	c, _ := load(t, simulated(5, ""))
	var first, second *ledgered
	before := func() *ampledgerv1.Account {
		s := serve(t, c)
		defer s.stop()
		first = follow(t, s)
		return statementOf(t, s)
	}()
	s := serve(t, c)
	second = follow(t, s)
	after := statementOf(t, s)
	if got, want := second.frames[0].GetFirstSequence(), first.next["shunt"]; got != want {
		t.Errorf("the second run begins at sequence %d, the first ended before %d", got, want)
	}
	// The same seed gives the same readings, and the rest is at the start of each run; live, the first estimates come a little sooner or later.
	if got, want := after.GetReadingCount(), 2*before.GetReadingCount(); got != want {
		t.Errorf("%d readings over both runs, %d in the first", got, want/2)
	}
	if got, want := after.GetNetMicrocoulombs()+after.GetOffsetMicrocoulombs(), 2*(before.GetNetMicrocoulombs()+before.GetOffsetMicrocoulombs()); absolute(float64(got-want)) > 4 {
		t.Errorf("uncompensated net over both runs is %d µC, twice the first is %d µC", got, want)
	}
	// What lies between is a gap that names its cause. The simulation's time runs ahead of the wall clock, so its duration is not known here.
	if gaps := after.GetLongestGaps(); len(gaps) != 1 || gaps[0].GetCauses()[0] != "restart" || gaps[0].GetBeforeSequence() != first.next["shunt"]-1 {
		t.Errorf("gaps over two runs: %v", gaps)
	}
	s.stop()
	if third := statementOf(t, serve(t, c)); third.GetEntryCount() < 2 {
		t.Errorf("%d ledger entries after two runs", third.GetEntryCount())
	}
}

func statementOf(t *testing.T, s *served) *ampledgerv1.Account {
	t.Helper()
	statement, err := s.Charge.GetStatement(s.ctx, &ampledgerv1.GetStatementRequest{Conductor: "pack"})
	if err != nil {
		t.Fatal(err)
	}
	return statement.GetAccounts()[0]
}

// TestBadDevicesBesideAGoodOne starts drivers that cannot work beside one that does: each becomes an event that names device and cause, and
// the good one's readings come as if it were alone.
func TestBadDevicesBesideAGoodOne(t *testing.T) {
	folder := t.TempDir()
	write := func(name, text string, mode os.FileMode) string {
		path := filepath.Join(folder, name)
		if err := os.WriteFile(path, []byte(text), mode); err != nil {
			t.Fatal(err)
		}
		return path
	}
	script := write("no-plugin", "#!/bin/sh\necho hello\n", 0o700)
	broken := write("broken.csv", "t,a\n0,1\n1,2\n2,three\n", 0o600)
	more := fmt.Sprintf(`
  - {name: missing, driver: replay, with: {file: nowhere.csv}}
  - {name: wrong-sum, driver: {path: %q, sha256: %q}}
  - {name: broken, driver: replay, with: {file: %q, speed: 0}}
  - {name: misspelt, driver: replay, with: {fille: x}}`, script, strings.Repeat("0", 64), broken)
	text := simulated(5, more) + `
  - name: others
    channels:
      - {name: a, device: missing, input: a, reported: {}}
      - {name: b, device: wrong-sum, input: a, reported: {}}
      - {name: c, device: broken, input: a, reported: {rated_amperes: 10}}
      - {name: d, device: misspelt, input: a, reported: {}}
`
	c, _ := load(t, text)
	s := serve(t, c)
	if l := follow(t, s); l.readings["shunt"] != 5000 {
		t.Errorf("the good device gave %d readings, want 5000", l.readings["shunt"])
	}
	wanted := map[string]string{
		"missing":   "nowhere.csv: no such file or directory",
		"wrong-sum": "SHA-256 is not the configured one",
		"broken":    `broken.csv:4: column "a": "three"`,
		"misspelt":  `unknown setting "fille"`,
	}
	from := uint64(0)
	err := s.FollowEvents(s.ctx, &ampledgerv1.StreamEventsRequest{Conductor: "others", AfterLogSequence: &from}, func(item *ampledgerv1.StreamEventsResponse) error {
		e := item.GetEvent()
		if text, expected := wanted[e.GetElement()]; expected && e.GetKind() == "device" {
			if !strings.Contains(e.GetDetail(), text) {
				t.Errorf("device %s failed with %q, which does not say %q", e.GetElement(), e.GetDetail(), text)
			}
			delete(wanted, e.GetElement())
		}
		if len(wanted) == 0 {
			return errEnough
		}
		return nil
	})
	if !errors.Is(err, errEnough) {
		t.Errorf("no event for %v: %v", wanted, err)
	}
	// What the broken recording gave before its fault is counted.
	statement, err := s.Charge.GetStatement(s.ctx, &ampledgerv1.GetStatementRequest{Conductor: "others"})
	if err != nil {
		t.Fatal(err)
	}
	for _, a := range statement.GetAccounts() {
		if a.GetChannel() == "c" && a.GetNetMicrocoulombs() != 1_500_000 {
			t.Errorf("the broken recording's two good readings count %d µC, want 1.5 C", a.GetNetMicrocoulombs())
		}
	}
}

// TestOneDaemonAState refuses a second daemon on the same state, and on the same socket, while the first one serves.
func TestOneDaemonAState(t *testing.T) {
	c, folder := load(t, simulated(1, ""))
	s := serve(t, c)
	if err := daemon.Run(t.Context(), c, options(t)); err == nil || !strings.Contains(err.Error(), "another daemon works on it") {
		t.Errorf("a second daemon on the state ended with %v", err)
	}
	other := *c
	other.State = filepath.Join(folder, "other")
	if err := daemon.Run(t.Context(), &other, options(t)); err == nil || !strings.Contains(err.Error(), "another daemon serves") {
		t.Errorf("a second daemon on the socket ended with %v", err)
	}
	if l := follow(t, s); l.readings["shunt"] != 1000 {
		t.Errorf("the first one gave %v", l.readings)
	}
}

var errEnough = errors.New("enough")
