package daemon_test

import (
	"bufio"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/ampledger/ampledger/daemon"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// recordings are all recordings that state a charge, with how the statement must compare. Each goes through the whole path: replay as a
// process, counts of a declared shunt, amperes, statement.
//
// Two comparisons a span: with the trapezoid that the header's check line gives, computed elsewhere, to its last digit; and with the charge
// that somebody else's instrument counted, within what the data set's own description allows.
var recordings = []struct {
	name       string
	column     string
	gapSeconds float64
	spans      int     // stated
	percent    float64 // of the stated charge, or
	ah         float64 // absolutely
}{
	// bench counters that resolve 0.01 Ah
	{"bigcell_1c_cycles", "current_a", 61, 9, 0, 0.02},
	{"bigcell_c15_cycles_long", "current_a", 61, 3, 0, 0.02},
	{"bigcell_pulse_test_25c", "current_a", 61, 11, 0, 0.02},
	// the counter is independent of the log
	{"drive_us06_25c_10hz", "current_a", 0.5, 1, 0.014, 0},
	// over all, the edges that were not logged count too
	{"cell_cc_1c_discharge_10s", "current_a", 15, 2, 0.15, 0},
	{"cell_c20_discharge_charge_60s", "current_a", 300, 3, 0.012, 0},
	// the taper is logged too rarely for better, as the header's residuals say (cycle 7: −1.46 %)
	{"smallcell_cycles_30s", "current_a", 600, 8, 1.5, 0},
	// the capacity that the data set reports of the record
	{"square_wave_discharge_early", "sensor_a_a", 30, 8, 0.0003, 0},
	// stated is the second instrument, 0.9 % from the first
	{"two_sensors_charge_early", "sensor_b_a", 60, 3, 0.001, 0},
	// a channel with a small offset: the bench counted nothing
	{"zero_current_rest_48h", "current_a", 61, 1, 0, 0.22},
}

func TestChargeOfRecordings(t *testing.T) {
	for _, r := range recordings {
		t.Run(r.name, func(t *testing.T) {
			spans := statedSpans(t, r.name)
			if len(spans) != r.spans {
				t.Fatalf("%d spans stated, %d expected: the recording was cut or changed", len(spans), r.spans)
			}
			if raced {
				spans = spans[:1] // the others go the same way
			}
			for _, s := range spans {
				t.Run(s.name(), func(t *testing.T) {
					account := chargeOf(t, r.name, r.column, r.gapSeconds, s)
					s.compare(t, account, r.percent, r.ah)
				})
			}
		})
	}
}

// span is one stated charge: the fields of the header's `stated:` and `check:` lines.
type span struct{ stated, check map[string]string }

func (s span) name() string {
	for _, key := range []string{"segment", "cycle", "record"} {
		if value, found := s.stated[key]; found {
			return key + "-" + value
		}
	}
	return "all"
}

// settings pick the span's rows. Times in a header are rounded, so the window reaches half a digit further.
func (s span) settings() string {
	var b strings.Builder
	for _, key := range []string{"segment", "record"} {
		if value, found := s.stated[key]; found && isNumber(value) {
			fmt.Fprintf(&b, "where: {%s: %q}, ", key, value)
		}
	}
	fmt.Fprintf(&b, "from_seconds: %.4f, to_seconds: %.4f", number(s.stated["from_s"])-halfDigit(s.stated["from_s"]),
		number(s.stated["to_s"])+halfDigit(s.stated["to_s"]))
	return b.String()
}

// figure is one charge counted, what the header's trapezoid gives for it and what is stated.
type figure struct {
	got           float64 // Ah
	check, stated string
}

func (s span) figures(a *ampledgerv1.Account) []figure {
	out, in, net := ampereHours(a.GetOutMicrocoulombs()), ampereHours(a.GetInMicrocoulombs()), ampereHours(a.GetNetMicrocoulombs())
	switch {
	case s.stated["charged_ah"] != "":
		return []figure{
			{in, s.check["trapezoid_charged_ah"], s.stated["charged_ah"]},
			{out, s.check["trapezoid_discharged_ah"], s.stated["discharged_ah"]},
		}
	case s.stated["discharged_ah"] != "":
		return []figure{{net, s.check["trapezoid_ah"], s.stated["discharged_ah"]}}
	case s.check["sensor_b_ah"] != "": // the second instrument's trapezoid is what is stated
		return []figure{{-net, s.check["sensor_b_ah"], s.check["sensor_b_ah"]}}
	}
	return []figure{{-net, s.check["trapezoid_ah"], s.stated["charge_ah"]}}
}

// compare holds an account against both figures. In the recordings positive current is charge, and so is the stated sign.
func (s span) compare(t *testing.T, a *ampledgerv1.Account, percent, ah float64) {
	t.Helper()
	for _, f := range s.figures(a) {
		// Counts of 10 µA, half of one over the whole span, may be lost beside the digit.
		if !isNumber(f.check) || !isNumber(f.stated) {
			t.Errorf("the header states %q and checks %q: nothing to compare with", f.stated, f.check)
		}
		if off := math.Abs(f.got - number(f.check)); off > halfDigit(f.check)+5e-6*number(s.stated["to_s"])/3600*1e-2 {
			t.Errorf("%.6f Ah, the header's trapezoid gives %s Ah", f.got, f.check)
		}
		limit := ah + percent/100*math.Abs(number(f.stated))
		if off := math.Abs(f.got - number(f.stated)); off > limit {
			t.Errorf("%.6f Ah, stated are %s Ah: off by %.6f, allowed %.6f", f.got, f.stated, off, limit)
		}
	}
}

// chargeOf takes a span of a recording through the daemon's own path, as counts of a shunt of 10 mΩ, gain 10, 1 µV a count.
func chargeOf(t *testing.T, name, column string, gapSeconds float64, s span) *ampledgerv1.Account {
	t.Helper()
	c, _ := load(t, fmt.Sprintf(`
state: state
devices:
  - name: bench
    driver: replay
    gap_seconds: %g
    with: {file: %q, time_column: time_s, speed: 0, %s, inputs: [{name: code, column: %s, scale: 100000, unit: code, bits: 32, volts_per_code: 1.0e-6}]}
conductors:
  - name: cell
    positive: charge
    channels: [{name: shunt, device: bench, input: code, gap_bound_amperes: 30, shunt: {resistance_ohms: 0.01, gain: 10}}]
`, gapSeconds, recording(t, name), s.settings(), column))
	statements, err := daemon.Process(t.Context(), c, options(t), daemon.Outputs{})
	if err != nil {
		t.Fatal(err)
	}
	a := statements[0].GetAccounts()[0]
	if a.GetNetMicrocoulombs() != a.GetOutMicrocoulombs()-a.GetInMicrocoulombs() ||
		a.GetThroughputMicrocoulombs() != a.GetOutMicrocoulombs()+a.GetInMicrocoulombs() {
		t.Errorf("net or throughput is not out ∓ in: %v", a)
	}
	return a
}

// statedSpans reads the pairs of stated and check lines of a recording's header.
func statedSpans(t *testing.T, name string) (spans []span) {
	t.Helper()
	file, err := os.Open(recording(t, name))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	lines := bufio.NewScanner(file)
	for lines.Scan() && strings.HasPrefix(lines.Text(), "#") {
		if text, found := strings.CutPrefix(lines.Text(), "# stated: "); found {
			spans = append(spans, span{stated: pairs(text)})
		}
		if text, found := strings.CutPrefix(lines.Text(), "# check: "); found && spans[len(spans)-1].check == nil {
			spans[len(spans)-1].check = pairs(text)
		}
	}
	return spans
}

func pairs(text string) map[string]string {
	fields := map[string]string{}
	for _, word := range strings.Fields(text) {
		if key, value, found := strings.Cut(word, "="); found {
			fields[key] = value
		}
	}
	return fields
}

func isNumber(text string) bool {
	_, err := strconv.ParseFloat(text, 64)
	return err == nil
}

func number(text string) float64 {
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		return math.NaN()
	}
	return v
}

// halfDigit is half a unit of the last digit printed.
func halfDigit(text string) float64 {
	_, decimals, _ := strings.Cut(text, ".")
	return 0.5 * math.Pow(10, -float64(len(decimals)))
}

func ampereHours(microcoulombs int64) float64 { return float64(microcoulombs) / 3.6e9 }
