package design_test

import (
	"math"
	"testing"

	"github.com/ampledger/ampledger/daemon/design"
)

// sheets is a shunt and a magnetic sensor with everything that a data sheet may state, in round figures for sums done by hand.
const sheets = `
conductors:
  - name: pack
    capacity_ampere_hours: 280
    working_volts: 400
    channels:
      - {name: shunt, device: adc, input: raw, gain_uncertainty_ratio: 0.001, zero_uncertainty_amperes: 0.01,
         shunt: {rated_amperes: 500, rated_millivolts: 50, temperature_coefficient_per_kelvin: 40.0e-6, self_heating: {kelvin_per_watt: 2, time_constant_seconds: 300, ambient_celsius: 30}},
         data_sheet: {gain_drift_per_kelvin: 20.0e-6, yearly_gain_drift_ratio: 0.0002, thermo_emf_volts_per_kelvin: 1.0e-6, terminal_kelvin: 10, terminal_ohms: 4.0e-6}}
      - {name: hall, device: adc, input: raw, noise_amperes: 0.3, reversed: true,
         magnetic: {volts_per_ampere: 0.004, zero_volts: 2.5, rated_amperes: 500, sensitivity_coefficient_per_kelvin: -2.0e-4, zero_coefficient_volts_per_kelvin: 1.0e-4},
         data_sheet: {zero_drift_amperes_per_kelvin: 0.02, hysteresis_amperes: 0.4, linearity_ratio: 0.002, supply_ratio: 0.001}}
`

// Each line by hand, at 500 A and 50 °C, two years after the calibration: the shunt takes 25 W, is 50 K warmer than its ambient, and so 80 K above
// its reference temperature.
func TestLinesByHand(t *testing.T) {
	s := examine(t, sheets, func(q *design.Question) { q.Amperes, q.Celsius, q.Years = []float64{500}, []float64{50}, 2 })
	root := math.Sqrt(3)
	shunt, hall := s.Channels[0].Cases[0], s.Channels[1].Cases[0]
	for source, want := range map[string]float64{
		"zero": 0.01, "gain": 0.5,
		"gain drift with temperature":            500 * 20e-6 * 80 / root,
		"gain drift with time":                   500 * 0.0002 * 2 / root,
		"thermo-EMF of the joints":               1e-6 * 10 / 1e-4 / root,
		"temperature coefficient, not corrected": 500 * (1.0032/1.0024 - 1) / root, // at 100 °C; 80 °C is taken
	} {
		near(t, source, line(t, shunt, source).ContributionAmperes, want, 1e-9)
	}
	for source, want := range map[string]float64{
		"noise of a reading": 0.3, "hysteresis": 0.4 / root, "linearity": 0.002 * 500 / root,
		"zero drift with temperature":            0.02 * 25 / root,
		"sensitivity coefficient, not corrected": 2e-4 * 25 * 500 / root,
		"zero coefficient, not corrected":        1e-4 * 25 / 0.004 / root,
		"supply":                                 0.001 * (625 - 500) / root, // mounted backwards, the zero's 625 A and the current are of opposite signs
	} {
		near(t, source, line(t, hall, source).ContributionAmperes, want, 1e-9)
	}
	if len(shunt.Lines) != 6 || len(hall.Lines) != 7 {
		t.Errorf("%d and %d lines", len(shunt.Lines), len(hall.Lines))
	}
	sum, shares := 0.0, 0.0
	for _, l := range hall.Lines {
		sum += l.ContributionAmperes * l.ContributionAmperes
		shares += l.ShareRatio
		if l.Stated != (l.Source == "noise of a reading") {
			t.Errorf("%s: stated %t", l.Source, l.Stated)
		}
	}
	near(t, "combined", hall.CombinedAmperes, math.Sqrt(sum), 1e-12)
	near(t, "shares", shares, 1, 1e-12)
	near(t, "expanded", hall.ExpandedAmperes, 1.959964*hall.CombinedAmperes, 1e-6)
	near(t, "stated", hall.StatedAmperes, 0.3, 1e-12)
}

func TestShuntAndMagneticFigures(t *testing.T) {
	s := examine(t, sheets, func(*design.Question) {})
	shunt, magnetic := s.Channels[0].Shunt, s.Channels[1].Magnetic
	near(t, "drop", *shunt.RatedDropMillivolts, 50, 1e-12)
	near(t, "power", *shunt.RatedWatts, 25, 1e-12)
	near(t, "energy", *shunt.RatedWattHoursPerDay, 600, 1e-12)
	near(t, "rise", *shunt.RatedRiseKelvin, 50, 1e-12)
	near(t, "settling", *shunt.SettleSeconds, 300*math.Log(100), 1e-12)
	near(t, "per microohm", shunt.TerminalRatioPerMicroohm, 0.01, 1e-12)
	near(t, "terminals", *shunt.TerminalRatio, 0.04, 1e-12)
	near(t, "thermo-EMF", *shunt.ThermoAmperesPerKelvin, 0.01, 1e-12)
	near(t, "its limit", shunt.ThermoLimitAmperesPerKelvin, 0.1, 1e-12)
	near(t, "constantan", *shunt.ThermoConstantanAmperesPerKelvin, 0.40682, 1e-5) // type T at 25 °C: 40.682 µV/K
	near(t, "supply", magnetic.SupplyAmperesPerPercent, 6.25, 1e-12)
	near(t, "zero coefficient", *magnetic.ZeroCoefficientAmperesPerKelvin, 0.025, 1e-12)
	if magnetic.ZeroUncertaintyAmperes != nil || magnetic.SupplyMeasured || magnetic.ZeroCoefficientCorrected || s.Channels[0].Magnetic != nil || s.Channels[1].Shunt != nil {
		t.Errorf("%+v", magnetic)
	}
	if cold := examine(t, sheets, func(q *design.Question) { q.Celsius = []float64{-20} }); cold.Channels[0].Shunt.ThermoConstantanAmperesPerKelvin != nil {
		t.Error("the reference function of constantan begins at 0 °C")
	}
}

func TestIsolation(t *testing.T) {
	for volts, needed := range map[float64]bool{48: false, 60: false, 61: true, 400: true} {
		s := examine(t, sheets, func(q *design.Question) { q.WorkingVolts = volts })
		if shunt := s.Channels[0].Isolation; *shunt.Needed != needed || shunt.Isolated || *shunt.WorkingVolts != volts {
			t.Errorf("%g V: %+v", volts, shunt)
		}
		if hall := s.Channels[1].Isolation; *hall.Needed || !hall.Isolated {
			t.Errorf("%g V: %+v", volts, hall)
		}
	}
	if stated := examine(t, sheets, func(*design.Question) {}).Channels[0].Isolation; *stated.WorkingVolts != 400 || !*stated.Needed {
		t.Errorf("%+v", stated)
	}
	if unstated := examine(t, kinds, func(*design.Question) {}).Channels[0].Isolation; unstated.WorkingVolts != nil || unstated.Needed != nil {
		t.Errorf("%+v", unstated)
	}
}
