package daemon_test

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// canPack is a pack whose current comes from the module of testdata/can_duty.log. A tenth of a second without readings is a gap, however many were lost.
const canPack = `
state: state
listen: {unix: s}
devices:
  - name: bus
    driver: can
    gap_seconds: 0.1
    with:
      log: %q
      speed: 0
      messages:
        - identifier: 0x1A0
          bytes: 6
          byte_order: big
          period_seconds: 0.01
          counter: {start_bit: 39, length: 8, greatest: 14}
          checksum: {start_bit: 47, length: 8, algorithm: crc8-autosar, before: [0x5A]}
          signals: [{name: pack_amperes, start_bit: 7, length: 32, type: signed, scale: 0.001, unit: A, averaging: true}]
        - identifier: 0x18FFA1E5
          extended: true
          bytes: 12
          byte_order: big
          signals: [{name: shunt_celsius, start_bit: 7, length: 16, type: signed, scale: 0.1, unit: Cel, hold_seconds: 2.5}]
conductors:
  - name: pack
    channels:
      - {name: module, device: bus, input: pack_amperes, reported: {rated_amperes: 300}}
`

// canDuty is what the head of the log states: computed in whole milliamperes and microseconds by another language.
type canDuty struct {
	microcoulombs float64
	nanos         int64
	gaps          []string
}

func statedCANDuty(t *testing.T) (path string, d canDuty) {
	t.Helper()
	path, err := filepath.Abs("testdata/can_duty.log")
	if err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	stated := regexp.MustCompile(`(?m)^# stated: net_microcoulombs=(\S+) duration_microseconds=(\d+) gaps=(.*)$`).FindStringSubmatch(string(text))
	if stated == nil {
		t.Fatal("the log states nothing")
	}
	if d.microcoulombs, err = strconv.ParseFloat(stated[1], 64); err != nil {
		t.Fatal(err)
	}
	micros, err := strconv.ParseInt(stated[2], 10, 64)
	if err != nil {
		t.Fatal(err)
	}
	d.nanos, d.gaps = micros*1000, strings.Fields(stated[3])
	return path, d
}

// compare holds an account against what the log states, to the microcoulomb that the ledger counts in.
func (d canDuty) compare(t *testing.T, a *ampledgerv1.Account) {
	t.Helper()
	if off := absolute(float64(a.GetNetMicrocoulombs()) - d.microcoulombs); off > 1 || a.GetDurationNanos() != d.nanos {
		t.Errorf("%d µC in %d ns, stated are %.3f µC in %d ns", a.GetNetMicrocoulombs(), a.GetDurationNanos(), d.microcoulombs, d.nanos)
	}
	var gaps []string
	for _, g := range a.GetLongestGaps() {
		gaps = append(gaps, fmt.Sprintf("%d-%d:%d", g.GetBeforeSequence(), g.GetAfterSequence(), g.GetDurationNanos()/1000))
	}
	if diff := cmp.Diff(d.gaps, gaps); diff != "" {
		t.Errorf("gaps (-stated +got):\n%s", diff)
	}
	if u := a.GetUnusable(); u.GetLostCount() != 46 || u.GetMissingCount() != 1 || a.GetReadingCount() != 2000-46-1 {
		t.Errorf("%d readings, unusable: %v; 46 frames were not sent and one had a wrong checksum", a.GetReadingCount(), u)
	}
}

// TestAModuleOnCAN counts the charge of a log offline, and in a daemon that runs.
func TestAModuleOnCAN(t *testing.T) {
	path, stated := statedCANDuty(t)
	text := fmt.Sprintf(canPack, path)
	t.Run("offline", func(t *testing.T) { stated.compare(t, processOne(t, text)) })
	t.Run("running", func(t *testing.T) {
		c, _ := load(t, text)
		s := serve(t, c)
		stream, err := s.Readings.StreamReadings(s.ctx, &ampledgerv1.StreamReadingsRequest{Conductor: "pack", FromOldest: true})
		if err != nil {
			t.Fatal(err)
		}
		for last := uint64(0); last < 1999; {
			item, err := stream.Recv()
			if err != nil {
				t.Fatal(err)
			}
			if f := item.GetFrame(); f != nil {
				last = f.GetFirstSequence() + uint64(len(f.GetCurrentAmperes())) - 1
			}
		}
		stated.compare(t, statementOf(t, s))
	})
}
