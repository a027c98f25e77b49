package daemon_test

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	"github.com/ampledger/ampledger/client"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

var full = flag.Bool("full", false, "run the long forms of the tests")

// fed is a device that a rig feeds, with a shunt's code, a current another meter reports and a contactor's state; at 1 kHz.
func fed(mode, more string) string {
	return fmt.Sprintf(`
state: state
listen: {unix: s}
ledger: {interval_seconds: 5}
devices:
  - name: bench
    driver: feed
    with:
      mode: %s
      rate_hertz: 1000
      inputs:
        - {name: shunt_code, unit: code, minimum_code: -32768, maximum_code: 32767, volts_per_code: 0.0001}
        - {name: meter, unit: A}
        - {name: contactor_open}
conductors:
  - name: pack
    contactor: {device: bench, input: contactor_open}
    channels:
      - {name: shunt, device: bench, input: shunt_code, shunt: {resistance_ohms: 0.0001, gain: 50}, noise_amperes: 0.06, zero_uncertainty_amperes: 0.5}
      - {name: meter, device: bench, input: meter, reported: {rated_amperes: 1000}, noise_amperes: 0.1, zero_uncertainty_amperes: 0.2}
    guard: [{name: overload, direction: discharge, definite_time: {pickup_amperes: 60, delay_seconds: 0.01}}]
%s`, mode, more)
}

// estimated is fed with an estimator, whose process takes its time to start.
func estimated(mode string) string {
	return strings.Replace(fed(mode, ""), "    guard:", "    estimator: {plugin: biasfilter}\n    guard:", 1)
}

// bench is a rig: its scans follow from their sequence alone, a second of rest in every ten, and each frame may carry marks.
type bench struct {
	first       uint64     // sequence of the next scan
	periodNanos int64      // 0 = 1 ms
	faults      *rand.Rand // nil = no marks
}

// frame makes the next scans.
func (b *bench) frame(scans int) *ampledgerv1.FeedFrame {
	period := cmp.Or(b.periodNanos, 1e6)
	f := &ampledgerv1.FeedFrame{
		FirstSequence: b.first, FirstMonotonicNanos: int64(b.first) * period, PeriodNanos: period, ScanCount: uint32(scans),
		Columns: []*ampledgerv1.FeedColumn{{}, {}, {}},
	}
	for k := range uint64(scans) {
		open, amperes := b.at(b.first + k)
		f.Columns[0].Codes = append(f.Columns[0].Codes, int32(math.Round(amperes*50+15))) // 1 A is 50 codes; the zero is off by 0.3 A
		f.Columns[1].Values = append(f.Columns[1].Values, amperes)
		f.Columns[2].Values = append(f.Columns[2].Values, open)
	}
	b.first += uint64(scans)
	if b.faults != nil && b.faults.IntN(4) == 0 {
		bits := []ampledgerv1.Quality{ampledgerv1.Quality_QUALITY_MISSING, ampledgerv1.Quality_QUALITY_SATURATED}
		f.Marks = append(f.Marks, &ampledgerv1.FeedMark{
			Input: []string{"", "shunt_code"}[b.faults.IntN(2)], FirstIndex: uint32(b.faults.IntN(scans)), ScanCount: 1, QualityBits: uint32(bits[b.faults.IntN(2)]),
		})
	}
	return f
}

// at gives the contactor's state and the current of a scan.
func (b *bench) at(sequence uint64) (open, amperes float64) {
	if sequence%10_000 < 1000 {
		return 1, 0
	}
	return 0, 40 + 30*math.Sin(2*math.Pi*float64(sequence)/500)
}

// feedOf dials in as a rig.
func feedOf(t testing.TB, s *served, rig string) *client.Feeder {
	t.Helper()
	f, err := s.Feed(s.ctx, &ampledgerv1.FeedHello{Device: "bench", Rig: rig})
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// TestLockstepTwice feeds the same scans, faults among them, to two daemons, each on a new state: the answers are the same, byte for byte.
func TestLockstepTwice(t *testing.T) {
	scans := uint64(20_000)
	if *full {
		scans = 1_000_000
	}
	first, second := inLockstep(t, scans), inLockstep(t, scans)
	t.Logf("%d readings, %d changes of events, %d bytes: SHA-256 %s", first.readings, first.events, first.bytes, first.sum)
	if first != second {
		t.Errorf("the first time %+v, the second time %+v", first, second)
	}
	if first.readings != 2*scans || first.events == 0 || first.unusable == 0 {
		t.Errorf("%+v of %d scans: it shows nothing", first, scans)
	}
}

// answers are what a rig got in lockstep.
type answers struct {
	readings, unusable uint64
	events, bytes      int
	sum                string
	net                int64
}

func inLockstep(t *testing.T, scans uint64) (all answers) {
	t.Helper()
	c, _ := load(t, estimated("lockstep"))
	s := serve(t, c)
	defer s.stop()
	f := feedOf(t, s, "alpha")
	rig := &bench{first: 5000, faults: rand.New(rand.NewPCG(1, 2))}
	digest, told := sha256.New(), map[string]int{}
	for rig.first < 5000+scans {
		answer, err := f.Exchange(rig.frame(int(min(1000, 5000+scans-rig.first))))
		if err != nil {
			t.Fatal(err)
		}
		text, err := proto.MarshalOptions{Deterministic: true}.Marshal(answer)
		if err != nil {
			t.Fatal(err)
		}
		digest.Write(text)
		all.bytes += len(text)
		for _, e := range answer.GetEvents() {
			all.events++
			told[e.GetEventId()+e.GetState().String()]++
		}
		for _, frame := range answer.GetFrames() {
			all.readings += uint64(len(frame.GetCurrentAmperes()))
			for _, q := range frame.GetQualityBits() {
				if q != 0 {
					all.unusable++
				}
			}
		}
		all.net = answer.GetCharges()[0].GetAccount().GetNetMicrocoulombs()
	}
	if err := f.Close(); err != nil {
		t.Error(err)
	}
	if a := statementOf(t, s); a.GetNetMicrocoulombs() != all.net {
		t.Errorf("the last answer states %d µC, the statement %d µC", all.net, a.GetNetMicrocoulombs())
	}
	checkTold(t, s, told)
	all.sum = hex.EncodeToString(digest.Sum(nil))
	return all
}

// checkTold wants each change that the answers told in the log, once, and no other but what is told of the store.
func checkTold(t *testing.T, s *served, told map[string]int) {
	t.Helper()
	from := uint64(0)
	err := s.FollowEvents(s.ctx, &ampledgerv1.StreamEventsRequest{AfterLogSequence: &from}, func(item *ampledgerv1.StreamEventsResponse) error {
		e := item.GetEvent()
		name := e.GetEventId() + e.GetState().String()
		if item.GetDelivery() == ampledgerv1.Delivery_DELIVERY_RECORDED && e.GetKind() != "storage" {
			if told[name] != 1 {
				t.Errorf("%s was told %d times", name, told[name])
			}
			delete(told, name)
		}
		if len(told) == 0 {
			return errEnough
		}
		return nil
	})
	if !errors.Is(err, errEnough) {
		t.Errorf("told and not in the log: %v (%v)", told, err)
	}
}
