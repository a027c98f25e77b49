package design_test

import (
	"math"
	"strings"
	"testing"

	"github.com/ampledger/ampledger/daemon/design"
)

// crossing is two channels whose uncertainties are equal at one current that a formula gives: √((0.5² − 0.1²)/(0.005² − 0.001²)) = 100 A.
const crossing = `
conductors:
  - name: pack
    working_volts: 96
    capacity_ampere_hours: 280
    channels:
      - {name: fine, device: adc, input: raw, zero_uncertainty_amperes: 0.1, gain_uncertainty_ratio: 0.005, maximum_amperes: 300, shunt: {rated_amperes: 200, rated_millivolts: 60}}
      - {name: wide, device: adc, input: raw, zero_uncertainty_amperes: 0.5, gain_uncertainty_ratio: 0.001, maximum_amperes: 1000, magnetic: {volts_per_ampere: 0.002, rated_amperes: 800}}
`

func TestCrossing(t *testing.T) {
	s := examine(t, crossing, func(q *design.Question) { q.Celsius = []float64{25} })
	if len(s.Comparisons) != 1 || len(s.Comparisons[0].Segments) != 3 {
		t.Fatalf("%+v", s.Comparisons)
	}
	below, above, beyond := s.Comparisons[0].Segments[0], s.Comparisons[0].Segments[1], s.Comparisons[0].Segments[2]
	near(t, "crossing", below.ToAmperes, 100, 1e-9)
	near(t, "crossing", above.FromAmperes, 100, 1e-9)
	near(t, "end of the fine one", above.ToAmperes, 300, 1e-9)
	near(t, "end", beyond.ToAmperes, 1000, 1e-12)
	near(t, "fine at 10 A", below.Expanded, 1.959964*math.Hypot(0.1, 0.05), 1e-6)
	if below.Channel != "fine" || above.Channel != "wide" || below.FromAmperes != 0 || below.NextChannel != "wide" ||
		above.NextChannel != "fine" || beyond.Channel != "wide" || beyond.NextExpanded != nil {
		t.Errorf("%+v, then %+v", below, above)
	}
	text := strings.Join(s.Comparisons[0].Conclusions, "\n")
	for _, want := range []string{"At 25 °C below 100 A fine is the surest", "from 100 A to 300 A wide is the surest", "from 300 A to 1000 A only wide reads", "fine does not read 800 A",
		"fine turns 12 W into heat at its rated 200 A",
		"wide takes nothing", "Isolation must be added behind fine: the conductor is at up to 96 V",
		"wide isolates by its principle", "A day's charge at 20 A and 25 °C is known to ±5.4 Ah with fine and ±24 Ah with wide"} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in\n%s", want, text)
		}
	}
}

// The words follow the figures: with the zeros exchanged, the wide one is the surer everywhere.
func TestConclusionsFollowTheFigures(t *testing.T) {
	exchanged := strings.NewReplacer("zero_uncertainty_amperes: 0.1", "zero_uncertainty_amperes: 0.5", "zero_uncertainty_amperes: 0.5", "zero_uncertainty_amperes: 0.1").Replace(crossing)
	s := examine(t, exchanged, func(q *design.Question) { q.Celsius, q.WorkingVolts = []float64{25}, 48 })
	c := s.Comparisons[0]
	if len(c.Segments) != 2 || c.Segments[0].Channel != "wide" || c.Segments[1].Channel != "wide" || strings.Contains(strings.Join(c.Conclusions, " "), "solat") {
		t.Errorf("%+v", c)
	}
}

// A channel of which nothing is stated would be the surest everywhere; it is named and not compared.
func TestSilentChannelsAreNotCompared(t *testing.T) {
	silent := strings.Replace(crossing, "zero_uncertainty_amperes: 0.1, gain_uncertainty_ratio: 0.005, ", "", 1)
	c := examine(t, silent, func(*design.Question) {}).Comparisons[0]
	for _, b := range c.Segments {
		if b.Channel != "wide" || b.NextExpanded != nil {
			t.Errorf("%+v", b)
		}
	}
	if text := strings.Join(c.Conclusions, " "); !strings.Contains(text, "Nothing is stated of what makes fine uncertain") {
		t.Error(text)
	}
}

// Of conductors with one channel each all are compared, under both names.
func TestOneChannelEach(t *testing.T) {
	each := strings.Replace(crossing, "      - {name: wide", "  - name: rack\n    channels:\n      - {name: wide", 1)
	c := examine(t, each, func(*design.Question) {}).Comparisons
	if len(c) != 1 || c[0].Channels[0] != "pack/fine" || c[0].Channels[1] != "rack/wide" {
		t.Errorf("%+v", c)
	}
	if alone := examine(t, crossing[:strings.Index(crossing, "      - {name: wide")], func(*design.Question) {}); len(alone.Comparisons) != 0 {
		t.Errorf("one channel against itself: %+v", alone.Comparisons)
	}
}
