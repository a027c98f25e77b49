package sensor_test

import (
	"math"
	"testing"

	"github.com/ampledger/ampledger/daemon/scan"
	"github.com/ampledger/ampledger/daemon/sensor"
)

// heated is a shunt of 1 mΩ that 100 A warm by 20 K in the end: 10 W at 2 K/W, with a time constant of 60 s.
func heated(alpha float64) sensor.Config {
	shunt := milliohm()
	shunt.PerKelvin = alpha
	return channel(shunt, func(c *sensor.Config) {
		c.Heating = &sensor.Heating{KelvinPerWatt: 2, TimeConstant: 60, AmbientCelsius: 20}
	})
}

// rise is the shunt's rise that a reading was converted with: its resistance grew by 1 + α·rise.
func rise(code, amperes, alpha float64) float64 { return (code/160/amperes - 1) / alpha }

// A step from 0 to 100 A: ϑ(t) = 20 K·(1 − exp(−t/τ)), then back: 20 K·exp(−t/τ). α is too small to change the power. Regular and
// irregular times, since each step solves the node exactly. A reading is converted at the rise of the scan before.
func TestSelfHeatingStepResponse(t *testing.T) {
	const alpha, tau = 1e-9, 60.0
	s := must(t, heated(alpha))
	var r scan.Readings
	for _, step := range []struct {
		code  float64
		close func(t float64) float64
	}{
		{16000, func(t float64) float64 { return 20 * (1 - math.Exp(-t/tau)) }},
		{1600, func(t float64) float64 { return 0.2 + (20-0.2)*math.Exp(-t/tau) }}, // 10 A keep it 0.2 K up
	} {
		origin, before := r.Monotonic, 0.0
		for _, seconds := range []float64{0, 0.5, 1, 7, 30, 60, 61, 120, 1200, 1201} {
			f := frame([]float64{step.code})
			f.Monotonic = origin + int64(seconds*1e9)
			s.Apply(f, &r)
			if got, want := rise(step.code, r.Amperes[0], alpha), step.close(before); math.Abs(got-want) > 2e-6 {
				t.Errorf("%v A after %v s: rise %v K, want %v K", step.code/160, before, got, want)
			}
			before = seconds
		}
	}
}

// In the end the node settles where rise = R_th·I²·R₀·(1 + α·rise): by hand for copper, 100 A read and all but the last digits settled.
func TestSelfHeatingSettles(t *testing.T) {
	const alpha = 3.93e-3
	s := must(t, heated(alpha))
	var r scan.Readings
	for k := range 200 {
		f := frame([]float64{16000})
		f.Monotonic = int64(k) * 60 * second
		s.Apply(f, &r)
	}
	// The voltage is what is held: 10 V/10 over R. P = V²/R, so that rise·(1 + α·rise) = 20 K.
	want := (math.Sqrt(1+4*alpha*20) - 1) / (2 * alpha)
	near(t, "rise", rise(16000, r.Amperes[0], alpha), want, 1e-9)
}

// What is not known to have flowed, or when, warms nothing; saturated readings warm as much as the rail would.
func TestSelfHeatingOfReadingsThatAreNotGood(t *testing.T) {
	const alpha = 1e-6
	atRail := heated(alpha)
	atRail.MaximumRaw = 16000
	beyond := heated(alpha)
	beyond.MaximumAmperes = 99
	missing := func(f *scan.Frame) { f.Columns[0].Flags = []scan.Quality{scan.Missing} }
	plain := func(*scan.Frame) {}
	for _, c := range []struct {
		name   string
		config sensor.Config
		change func(*scan.Frame)
		want   float64
	}{
		{"good", heated(alpha), plain, 20 * (1 - math.Exp(-1))},
		{"saturated", atRail, plain, 20 * (1 - math.Exp(-1))},
		{"out of range", beyond, plain, 0},
		{"missing", heated(alpha), missing, 0},
		{"time repeated", heated(alpha), func(f *scan.Frame) { f.Monotonic = 0 }, 0},
		{"time backwards", heated(alpha), func(f *scan.Frame) { f.Monotonic = -60 * second }, 0},
		{"another time base", heated(alpha), func(f *scan.Frame) { f.Epoch = 1 }, 0},
	} {
		s := must(t, c.config)
		var r scan.Readings
		s.Apply(frame([]float64{0}), &r)
		f := frame([]float64{16000})
		f.Monotonic = 60 * second
		c.change(f)
		s.Apply(f, &r)
		f = frame([]float64{160})
		f.Monotonic = 60*second + 1
		s.Apply(f, &r)
		if got := rise(160, r.Amperes[0], alpha); math.Abs(got-c.want) > 1e-3 {
			t.Errorf("%s: rise %v K, want %v K", c.name, got, c.want)
		}
	}
}

// One absurd reading must not spoil all that follow.
func TestSelfHeatingRecovers(t *testing.T) {
	for _, alpha := range []float64{-5e-3, 0, 4e-3} {
		for _, absurd := range []float64{1e6, 1e20, 1e160, 1e300} {
			config := heated(alpha)
			config.RangeKnown = false
			s := must(t, config)
			var r scan.Readings
			for k, code := range []float64{0, absurd, absurd, 0, 160} {
				f := frame([]float64{code})
				f.Monotonic = int64(k) * int64(k) * int64(k) * 1000 * second
				s.Apply(f, &r)
			}
			if r.Causes != 0 || !(math.Abs(r.Amperes[0]-1) < 1e-3) {
				t.Errorf("α %v, %v: %v A, %v", alpha, absurd, r.Amperes[0], r.Causes)
			}
		}
	}
}
