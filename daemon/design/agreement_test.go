package design_test

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"github.com/ampledger/ampledger/daemon/charge"
	"github.com/ampledger/ampledger/daemon/design"
	"github.com/ampledger/ampledger/daemon/scan"
)

// kinds has one channel of every kind, with the inputs raw, then temperature and supply where they are wired: a dithered converter, one coarser than
// its noise, volts, and a meter.
const kinds = `
conductors:
  - name: pack
    channels:
      - {name: dithered, device: adc, input: raw, reversed: true, calibration: {offset_amperes: 0.2, gain: 1.01}, noise_amperes: 0.06, zero_uncertainty_amperes: 0.05,
         gain_uncertainty_ratio: 0.001, shunt: {rated_amperes: 500, rated_millivolts: 50, gain: 50, bits: 16, volts_per_count: 0.0001}}
      - {name: coarse, device: adc, input: raw, temperature: {input: t}, noise_amperes: 0.01, zero_uncertainty_amperes: 0.05, gain_uncertainty_ratio: 0.002,
         shunt: {resistance_ohms: 0.0001, bits: 12, volts_per_count: 0.0001, temperature_coefficient_per_kelvin: 50.0e-6}}
      - {name: volts, device: adc, input: raw, temperature: {input: t}, noise_amperes: 0.4, zero_uncertainty_amperes: 1.5, gain_uncertainty_ratio: 0.003,
         magnetic: {volts_per_ampere: 0.0033, zero_volts: 2.5, supply: {input: v, nominal_volts: 5}, zero_coefficient_volts_per_kelvin: 0.0001}}
      - {name: meter, device: adc, input: raw, noise_amperes: 0.1, zero_uncertainty_amperes: 0.2, gain_uncertainty_ratio: 0.005, reported: {rated_amperes: 400}}
`

// What the budget says the daemon states is what the sensor stage states of a reading, at its current, at any temperature and supply.
func TestBudgetAgreesWithTheSensorStage(t *testing.T) {
	candidates := candidatesOf(t, kinds)
	rapid.Check(t, func(t *rapid.T) {
		c := rapid.SampledFrom(candidates).Draw(t, "channel")
		celsius := rapid.Float64Range(-20, 80).Draw(t, "celsius")
		raw := rapid.Float64Range(-1900, 1900).Draw(t, "raw")
		if c.Channel.Magnetic != nil {
			raw = 2.5 + raw/1000
		}
		if c.Channel.Reported != nil {
			raw /= 5
		}
		columns := []scan.Column{{Values: []float64{raw}}, {Values: []float64{celsius}}, {Values: []float64{rapid.Float64Range(4.8, 5.2).Draw(t, "supply")}}}
		var r scan.Readings
		c.Sensor.Apply(&scan.Frame{Count: 1, Columns: columns}, &r)
		if r.Usable != 1 {
			t.Fatalf("%s: the reading %g of %g is not usable: %v", c.Channel.Name, r.Amperes[0], raw, r.Causes)
		}
		q := design.DefaultQuestion()
		q.Amperes, q.Celsius = r.Amperes, []float64{celsius}
		s, err := design.Examine([]design.Candidate{c}, q)
		if err != nil {
			t.Fatal(err)
		}
		zero, gain := r.ZeroAmperes, r.GainRatio*r.Amperes[0]
		want := math.Sqrt(r.NoiseAmperes*r.NoiseAmperes + zero*zero + gain*gain)
		got := s.Channels[0].Cases[0]
		if math.Abs(got.StatedAmperes-want) > 1e-12*want || got.OutOfRange {
			t.Fatalf("%s at %g A and %g °C: the budget says %g A, the sensor stage %g A", c.Channel.Name, r.Amperes[0], celsius, got.StatedAmperes, want)
		}
		if got.CombinedAmperes < got.StatedAmperes*(1-1e-12) {
			t.Fatalf("more lines make it surer: %g A, %g A stated", got.CombinedAmperes, got.StatedAmperes)
		}
	})
}

// The rounding is one drawn anew where the noise carries it, else one that stays: it adds to noise in the one, to the zero in the other, and a change
// of a count may be lost in the other.
func TestRoundingGoesWhereItBelongs(t *testing.T) {
	s := examine(t, kinds, func(q *design.Question) { q.Amperes = []float64{0} })
	if lost := *s.Channels[0].Range.LostAmperes; lost != 0 {
		t.Errorf("a dithered converter loses %g A", lost)
	}
	near(t, "lost", *s.Channels[1].Range.LostAmperes, 1, 1e-12)
	near(t, "rounding", line(t, s.Channels[1].Cases[0], "rounding to a count, same for all").ContributionAmperes, 1/math.Sqrt(12), 1e-12)
	near(t, "rounding", line(t, s.Channels[0].Cases[0], "rounding to a count, dithered by the noise").ContributionAmperes, *s.Channels[0].Range.AmperesPerCount/math.Sqrt(12), 1e-12)
	if s.Channels[2].Range.AmperesPerCount != nil || s.Channels[3].Range.LostAmperes != nil {
		t.Error("a count of volts or amperes")
	}
}

// What the budget says of an hour's charge that nobody corrects is what the sensor stage and the charge's account make of such an hour, reading by reading.
func TestChargeAgreesWithTheAccount(t *testing.T) {
	const readings = 3601 // an hour at one a second
	for _, c := range candidatesOf(t, kinds) {
		raw := 700.0
		if c.Channel.Magnetic != nil {
			raw = 2.9
		}
		var r scan.Readings
		columns := []scan.Column{{Values: slices.Repeat([]float64{raw}, readings)}, {Values: []float64{20}}, {Values: []float64{5}}}
		if c.Channel.Reported != nil {
			columns[0].Values = slices.Repeat([]float64{raw / 2}, readings)
		}
		c.Sensor.Apply(&scan.Frame{Clock: scan.Clock{Period: 1e9}, Count: readings, Columns: columns}, &r)
		account, err := charge.New(charge.Config{BoundAmperes: 1, SaturatedBoundAmperes: 1})
		if err != nil {
			t.Fatal(err)
		}
		account.Apply(&r)
		totals := account.Totals()
		q := design.DefaultQuestion()
		q.Amperes, q.Celsius = r.Amperes[:1], []float64{20}
		s, err := design.Examine([]design.Candidate{c}, q)
		if err != nil {
			t.Fatal(err)
		}
		hour := s.Channels[0].Cases[0].Charge[0]
		if totals.Readings != readings || hour.Seconds != 3600 {
			t.Fatalf("%s: %d readings, %g s", c.Channel.Name, totals.Readings, hour.Seconds)
		}
		near(t, c.Channel.Name, hour.AloneAmpereHours*3600, totals.Uncertainty().Interval95, 2e-4) // a trapezoid weighs its ends half
		near(t, c.Channel.Name, hour.NetAmpereHours*3600e6, float64(totals.Net()), 1e-9)
	}
}
