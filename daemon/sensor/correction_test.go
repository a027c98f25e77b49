package sensor_test

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"github.com/ampledger/ampledger/daemon/scan"
	"github.com/ampledger/ampledger/daemon/sensor"
)

func corrected(k ...float64) *sensor.Correction {
	c := sensor.NoCorrection
	copy(c.Coefficients[:], k)
	return &c
}

// withCorrection puts a correction on a channel.
func withCorrection(k *sensor.Correction) func(*sensor.Config) {
	return func(c *sensor.Config) { c.Correction = k }
}

// All by hand: 160 counts are 1 A by the configuration.
func TestCorrection(t *testing.T) {
	drifting := corrected(0.5, 1)
	drifting.PerKelvin, drifting.ReferenceCelsius = 0.01, 20
	for name, c := range map[string]struct {
		correction *sensor.Correction
		raw, want  float64
	}{
		"none":             {corrected(), 16000, 100},
		"a zero":           {corrected(0.5), 16000, 99.5},
		"a gain":           {corrected(0, 1.25), 16000, 80},
		"both":             {corrected(2, 1.225), 16000, 80},
		"a drift at 30 °C": {drifting, 16000, 99.4},
		"a square":         {corrected(0, 1, 1e-3), 16000, (math.Sqrt(1.4) - 1) / 2e-3},
		"a cube":           {corrected(1, 1, 0, 1e-4), 5*160 + 160.0 + 0.0125*160, 5},
	} {
		near(t, name, one(t, channel(milliohm(), warm, withCorrection(c.correction)), c.raw, 30), c.want, 1e-12)
	}
	calibrated := channel(milliohm(), func(c *sensor.Config) { c.CalibrationA0, c.CalibrationA1, c.Correction = 1, 1.1, corrected(10, 1.5) })
	near(t, "behind the configuration's own", one(t, calibrated, 16000), ((100-1)/1.1-10)/1.5, 1e-12)
}

// What the curve has no current for is out of range, and no other reading suffers.
func TestBeyondTheCurve(t *testing.T) {
	s := must(t, channel(milliohm(), withCorrection(corrected(0, 1, 0, -1e-4)))) // its greatest indication is 38.5 A, at 57.7 A
	var r scan.Readings
	s.Apply(frame([]float64{160, 38 * 160, 39 * 160, -39 * 160}), &r)
	for k, want := range []scan.Quality{0, 0, scan.OutOfRange, scan.OutOfRange} {
		if r.QualityAt(k) != want || (want != 0) != math.IsNaN(r.Amperes[k]) {
			t.Errorf("reading %d: %v, %v A", k, r.QualityAt(k), r.Amperes[k])
		}
	}
	if r.Usable != 2 || math.Abs(r.Maximum-r.Amperes[1]) > 0 || r.Maximum < 38 {
		t.Errorf("%d usable, up to %g A", r.Usable, r.Maximum)
	}
}

// The curve is undone wherever it rises, in a batch of good readings as one by one.
func TestCorrectionUndoesTheCurve(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := corrected(rapid.Float64Range(-5, 5).Draw(t, "zero"), rapid.Float64Range(0.5, 2).Draw(t, "gain"),
			rapid.Float64Range(-1e-3, 1e-3).Draw(t, "square"), rapid.Float64Range(-1e-6, 1e-5).Draw(t, "cube"))
		truth := rapid.Float64Range(-100, 100).Draw(t, "amperes")
		c := k.Coefficients
		raw := 160 * (c[0] + truth*(c[1]+truth*(c[2]+truth*c[3])))
		s, err := sensor.New(channel(milliohm(), withCorrection(k), func(c *sensor.Config) { c.RangeKnown = false }))
		if err != nil {
			t.Fatal(err)
		}
		var r scan.Readings
		s.Apply(frame([]float64{raw, raw, math.NaN()}), &r)
		alone := r.Amperes[0]
		s.Apply(frame([]float64{raw, raw}), &r)
		if !(math.Abs(r.Amperes[1]-truth) < 1e-9) || r.Amperes[1] != alone || r.Minimum != alone || r.Maximum != alone {
			t.Fatalf("%g A come out as %g A, and %g A alone", truth, r.Amperes[1], alone)
		}
	})
}

// A correction on a correction gives what the second gives of what the first gave.
func TestBeneath(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		draw := func(name string, curved bool) sensor.Correction {
			c := *corrected(rapid.Float64Range(-2, 2).Draw(t, name+" zero"), rapid.Float64Range(0.8, 1.2).Draw(t, name+" gain"))
			if curved {
				c.Coefficients[2], c.Coefficients[3] = rapid.Float64Range(-1e-4, 1e-4).Draw(t, name+" square"), rapid.Float64Range(0, 1e-6).Draw(t, name+" cube")
			}
			c.PerKelvin, c.ReferenceCelsius = rapid.Float64Range(-0.1, 0.1).Draw(t, name+" drift"), rapid.Float64Range(0, 40).Draw(t, name+" at")
			return c
		}
		first, second := draw("first", false), draw("second", rapid.Bool().Draw(t, "curved"))
		both, err := first.Beneath(second)
		if err != nil {
			t.Fatal(err)
		}
		u, celsius := rapid.Float64Range(-100, 100).Draw(t, "amperes"), rapid.Float64Range(-20, 60).Draw(t, "celsius")
		want := give(t, second, give(t, first, u, celsius), celsius)
		if got := give(t, both, u, celsius); !(math.Abs(got-want) < 1e-9) {
			t.Fatalf("%+v beneath %+v: %g A, want %g A", first, second, got, want)
		}
	})
	curve, drift := *corrected(0, 1, 1e-5), sensor.NoCorrection
	drift.PerKelvin = 1
	for want, later := range map[string]sensor.Correction{"a curve on a curve": curve, "a drift of the zero is no line": drift} {
		if _, err := curve.Beneath(later); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("want %q, got %v", want, err)
		}
	}
}

// give is what a correction makes of amperes.
func give(t *rapid.T, c sensor.Correction, amperes, celsius float64) float64 {
	s, err := sensor.New(channel(milliohm(), warm, withCorrection(&c), func(c *sensor.Config) { c.RangeKnown = false }))
	if err != nil {
		t.Fatal(err)
	}
	var r scan.Readings
	s.Apply(frame([]float64{160 * amperes}, []float64{celsius}), &r)
	return r.Amperes[0]
}

// The uncertainties are those of the configuration unless the correction states others; the count and the full scale follow its gain.
func TestCorrectionStates(t *testing.T) {
	zero, gain := 0.02, 3e-4
	c := corrected(0, 2)
	c.ZeroAmperes = &zero
	configured := channel(milliohm(), withCorrection(c), func(c *sensor.Config) { c.ZeroAmperes, c.GainRatio, c.NoiseAmperes = 0.5, 0.01, 1 })
	if _, z, g := must(t, configured).StaticUncertainty(); z != 0.02 || g != 0.01 {
		t.Errorf("zero %g, gain %g", z, g)
	}
	c.GainRatio = &gain
	s := must(t, configured)
	if _, _, g := s.StaticUncertainty(); g != 3e-4 || s.AmperesPerCount() != 1/320.0 {
		t.Errorf("gain %g, %g A a count", g, s.AmperesPerCount())
	}
	full, _ := s.FullScale()
	near(t, "full scale", full, 102.4, 1e-3)
}

func TestCorrectionsRefused(t *testing.T) {
	negative, drifting, inverse := *corrected(), *corrected(), *corrected(0, -1)
	u := -1.0
	negative.ZeroAmperes, drifting.PerKelvin = &u, 1
	for want, c := range map[string]sensor.Correction{
		"gain is -1: it must be above 0": inverse, "must be finite and not negative": negative, "needs the channel's temperature": drifting,
		"it must be finite": *corrected(math.NaN()),
	} {
		if _, err := sensor.New(channel(milliohm(), withCorrection(&c))); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("want %q, got %v", want, err)
		}
	}
}
