package physics

import (
	"math"
	"testing"
)

func TestShuntCode(t *testing.T) {
	plain := Shunt{Converter: Converter{-128, 127, 0.5, 0}, Ohms: 0.01, Gain: 100}
	for _, c := range []struct {
		name   string
		change func(*Shunt)
		now    instant
		chance float64
		want   int32
	}{
		{"zero", func(*Shunt) {}, instant{}, 1, 0},
		{"volts over volts per code", func(*Shunt) {}, instant{amperes: 10}, 1, 20},
		{"nearest", func(*Shunt) {}, instant{amperes: 10.2}, 1, 20},
		{"nearest above", func(*Shunt) {}, instant{amperes: -10.3}, 1, -21},
		{"upper limit", func(*Shunt) {}, instant{amperes: 1e300}, 1, 127},
		{"lower limit", func(*Shunt) {}, instant{amperes: -64.5}, 1, -128},
		{"volts at code zero", func(s *Shunt) { s.ZeroCodeVolts = 2 }, instant{amperes: 10}, 1, 16},
		{"offset", func(s *Shunt) { s.OffsetAmperes = 3 }, instant{amperes: 10}, 1, 26},
		{"gain error", func(s *Shunt) { s.GainErrorRatio = -0.1 }, instant{amperes: 10}, 1, 18},
		{"noise", func(s *Shunt) { s.NoiseAmperes = 2 }, instant{amperes: 10}, -1.5, 14},
		{"emf", func(s *Shunt) { s.ThermalEMF = ThermalEMF{VoltsPerKelvin: -0.01, KelvinPerWatt: 2} }, instant{amperes: 10}, 1, 16},
		{"heats itself", func(s *Shunt) { s.CoefficientPerKelvin, s.Body.KelvinPerSquareAmpere = 0.01, 0.1 }, instant{amperes: 10}, 1, 22},
		{"gain drifts", func(s *Shunt) { s.GainDriftPerYear = 0.1 }, instant{amperes: 10, nanos: 365 * 86400e9}, 1, 22},
		{"warm", func(s *Shunt) { s.CoefficientPerKelvin, s.ReferenceCelsius = 0.01, 20 }, instant{amperes: 10, celsius: 30}, 1, 22},
	} {
		changed := plain
		c.change(&changed)
		changed.NoiseAmperes *= c.chance / stream(1, shuntNoiseStream).NormFloat64()
		if got := newShuntRun(&changed, 1, 1).next(&c.now, 0, false).Code; got != c.want {
			t.Errorf("%s: code %d, want %d", c.name, got, c.want)
		}
	}
}

func TestMagneticCode(t *testing.T) {
	plain := Magnetic{Converter: Converter{0, 1000, 0.01, 0}, VoltsPerAmpere: 0.1, ZeroVolts: 5, MinimumVolts: math.Inf(-1), MaximumVolts: math.Inf(1)}
	for _, c := range []struct {
		name   string
		change func(*Magnetic)
		now    instant
		chance float64
		want   int32
	}{
		{"zero", func(*Magnetic) {}, instant{}, 1, 500},
		{"discharge", func(*Magnetic) {}, instant{amperes: 10}, 1, 600},
		{"turned round", func(m *Magnetic) { m.VoltsPerAmpere = -0.1 }, instant{amperes: 10}, 1, 400},
		{"saturates above", func(m *Magnetic) { m.MaximumVolts = 7 }, instant{amperes: 1e6}, 1, 700},
		{"saturates below", func(m *Magnetic) { m.MinimumVolts = 0.5 }, instant{amperes: -1e6}, 1, 50},
		{"converter's limits", func(*Magnetic) {}, instant{amperes: -1e6}, 1, 0},
		{"drift", func(m *Magnetic) { m.OffsetAmperesPerKelvin, m.ReferenceCelsius = 0.5, 25 }, instant{celsius: 35}, 1, 550},
		{"curved drift", func(m *Magnetic) { m.OffsetAmperesPerSquaredKelvin = 0.01 }, instant{celsius: -20}, 1, 540},
		{"remanence", func(m *Magnetic) { m.Hysteresis = Play{{2, -3}} }, instant{amperes: 10}, 1, 570},
		{"supply", func(m *Magnetic) { m.Supply = &Supply{NominalVolts: 5, OffsetVolts: -1, DriftSeconds: 1} }, instant{amperes: 10}, 1, 480},
		{"offset, gain and noise", func(m *Magnetic) { m.Errors = Errors{NoiseAmperes: 1, OffsetAmperes: 2, GainErrorRatio: 0.1} }, instant{amperes: 10}, 3, 660},
	} {
		changed := plain
		c.change(&changed)
		changed.NoiseAmperes *= c.chance / stream(1, magneticNoiseStream).NormFloat64()
		if got, _ := newMagneticRun(&changed, 1, 1).next(&c.now, 0, false); got.Code != c.want {
			t.Errorf("%s: code %d, want %d", c.name, got.Code, c.want)
		}
	}
}
