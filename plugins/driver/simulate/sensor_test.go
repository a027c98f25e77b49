package simulate

import (
	"math"
	"testing"
)

func TestShuntCode(t *testing.T) {
	plain := shunt{converter: converter{-128, 127, 0.5, 0}, ohms: 0.01, gain: 100}
	for _, c := range []struct {
		name   string
		change func(*shunt)
		now    instant
		chance float64
		want   int32
	}{
		{"zero", func(*shunt) {}, instant{}, 1, 0},
		{"volts over volts per code", func(*shunt) {}, instant{amperes: 10}, 1, 20},
		{"nearest", func(*shunt) {}, instant{amperes: 10.2}, 1, 20},
		{"nearest above", func(*shunt) {}, instant{amperes: -10.3}, 1, -21},
		{"upper limit", func(*shunt) {}, instant{amperes: 1e300}, 1, 127},
		{"lower limit", func(*shunt) {}, instant{amperes: -64.5}, 1, -128},
		{"volts at code zero", func(s *shunt) { s.zeroCodeVolts = 2 }, instant{amperes: 10}, 1, 16},
		{"offset", func(s *shunt) { s.offset = 3 }, instant{amperes: 10}, 1, 26},
		{"gain error", func(s *shunt) { s.gainError = -0.1 }, instant{amperes: 10}, 1, 18},
		{"noise", func(s *shunt) { s.noise = 2 }, instant{amperes: 10}, -1.5, 14},
		{"warm", func(s *shunt) { s.coefficient, s.reference = 0.01, 20 }, instant{amperes: 10, celsius: 30}, 1, 22},
	} {
		changed := plain
		c.change(&changed)
		if got := changed.code(c.now, c.chance); got != c.want {
			t.Errorf("%s: code %d, want %d", c.name, got, c.want)
		}
	}
}

func TestMagneticCode(t *testing.T) {
	plain := magnetic{converter: converter{0, 1000, 0.01, 0}, voltsPerAmpere: 0.1, zeroVolts: 5, minimumVolts: math.Inf(-1), maximumVolts: math.Inf(1)}
	for _, c := range []struct {
		name   string
		change func(*magnetic)
		now    instant
		chance float64
		want   int32
	}{
		{"zero", func(*magnetic) {}, instant{}, 1, 500},
		{"discharge", func(*magnetic) {}, instant{amperes: 10}, 1, 600},
		{"turned round", func(m *magnetic) { m.voltsPerAmpere = -0.1 }, instant{amperes: 10}, 1, 400},
		{"saturates above", func(m *magnetic) { m.maximumVolts = 7 }, instant{amperes: 1e6}, 1, 700},
		{"saturates below", func(m *magnetic) { m.minimumVolts = 0.5 }, instant{amperes: -1e6}, 1, 50},
		{"converter's limits", func(*magnetic) {}, instant{amperes: -1e6}, 1, 0},
		{"drift", func(m *magnetic) { m.drift, m.reference = 0.5, 25 }, instant{celsius: 35}, 1, 550},
		{"offset, gain and noise", func(m *magnetic) { m.imperfection = imperfection{1, 2, 0.1} }, instant{amperes: 10}, 3, 660},
	} {
		changed := plain
		c.change(&changed)
		if got := changed.code(c.now, c.chance); got != c.want {
			t.Errorf("%s: code %d, want %d", c.name, got, c.want)
		}
	}
}
