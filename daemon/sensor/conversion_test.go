package sensor_test

import (
	"math"
	"testing"

	"github.com/ampledger/ampledger/daemon/scan"
	"github.com/ampledger/ampledger/daemon/sensor"
)

// All figures by hand: I = (V − V_q)/(S·n), 5 mV/A about 2.5 V at 25 °C, 100 A unless said otherwise.
func TestMagnetic(t *testing.T) {
	sensing := func(change func(*sensor.Magnetic)) *sensor.Magnetic {
		m := &sensor.Magnetic{VoltsPerAmpere: 5e-3, ZeroVolts: 2.5, PrimaryTurns: 1, ReferenceCelsius: 25}
		change(m)
		return m
	}
	plain := func(*sensor.Magnetic) {}
	ratiometric := func(m *sensor.Magnetic) { m.NominalSupply = 5 }
	for _, c := range []struct {
		name   string
		model  *sensor.Magnetic
		change func(*sensor.Config)
		inputs []float64 // volts, °C, supply
		want   float64
	}{
		{"no current", sensing(plain), volts, []float64{2.5}, 0},
		{"one way", sensing(plain), volts, []float64{3}, 100},
		{"the other way", sensing(plain), volts, []float64{2}, -100},
		{"reversed", sensing(plain), reversed, []float64{3}, -100},
		{"four primary turns", sensing(func(m *sensor.Magnetic) { m.PrimaryTurns = 4 }), volts, []float64{3}, 25},
		{"falling output", sensing(func(m *sensor.Magnetic) { m.VoltsPerAmpere = -5e-3 }), volts, []float64{2}, 100},
		{"sensitivity at 45 °C, −0.1 %/K", sensing(func(m *sensor.Magnetic) { m.PerKelvin = -1e-3 }), warm, []float64{2.99, 45}, 100},
		{"zero at 45 °C, 0.5 mV/K", sensing(func(m *sensor.Magnetic) { m.ZeroPerKelvin = 5e-4 }), warm, []float64{3.01, 45}, 100},
		{"zero at 45 °C, uncorrected", sensing(plain), warm, []float64{3.01, 45}, 102},
		{"ratiometric at 4.8 V", sensing(ratiometric), supplied, []float64{2.88, 0, 4.8}, 100},
		{"ratiometric at 4.8 V, no current", sensing(ratiometric), supplied, []float64{2.4, 0, 4.8}, 0},
		{"ratiometric, supply not wired", sensing(ratiometric), volts, []float64{3}, 100},
		{"not ratiometric, supply wired", sensing(plain), supplied, []float64{3, 0, 4.8}, 100},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := one(t, channel(c.model, volts, c.change), c.inputs...)
			if math.Abs(got-c.want) > 1e-12*(1+math.Abs(c.want)) {
				t.Errorf("%v A, want %v A", got, c.want)
			}
		})
	}
}

// Volts at count 0 come before the model, the direction after it, the calibration last: 3 V are −100 A, and y = (x − a₀)/a₁.
func TestOrderOfTheSteps(t *testing.T) {
	model := &sensor.Magnetic{VoltsPerAmpere: 5e-3, ZeroVolts: 2.5, PrimaryTurns: 1}
	c := channel(model, reversed, func(c *sensor.Config) {
		c.VoltsPerCount, c.ZeroCountVolts, c.CalibrationA0, c.CalibrationA1 = 1e-3, 0.5, 2, 1.02
	})
	near(t, "2500 counts", one(t, c, 2500), (-100-2)/1.02, 1e-15)
	near(t, "a count", must(t, c).AmperesPerCount(), 0.2/1.02, 1e-15)
}

func TestReportedIsCorrectedOnly(t *testing.T) {
	calibrated := func(c *sensor.Config) { c.CalibrationA0, c.CalibrationA1 = 1, 1.02 }
	near(t, "as it comes", one(t, channel(sensor.Reported{}, volts), 103), 103, 0)
	near(t, "calibrated", one(t, channel(sensor.Reported{}, volts, calibrated), 103), 100, 1e-15)
	near(t, "reversed and calibrated", one(t, channel(sensor.Reported{}, volts, reversed, calibrated), -103), 100, 1e-15)
}

// What reads no current reads 0, never −0, whatever turns the sign.
func TestNoCurrentIsPlainZero(t *testing.T) {
	magnetic := &sensor.Magnetic{VoltsPerAmpere: -5e-3, PrimaryTurns: 1}
	for name, c := range map[string]sensor.Config{
		"shunt": channel(milliohm(), reversed), "magnetic": channel(magnetic, reversed), "magnetic, not reversed": channel(magnetic),
		"calibration": channel(milliohm(), func(c *sensor.Config) { c.CalibrationA1 = -1 }),
	} {
		for _, raw := range []float64{0, math.Copysign(0, -1)} {
			if got := one(t, c, raw); !same(got, 0) {
				t.Errorf("%s: %v reads %v", name, raw, got)
			}
		}
	}
}

// fault is a scan, or a few, with what is wrong with it.
type fault struct {
	name   string
	config sensor.Config
	frame  *scan.Frame
	want   []scan.Quality
	reads  []float64 // amperes
}

// flagged sets faults of the values of a column, or of whole scans for column −1.
func flagged(f *scan.Frame, column int, flags ...scan.Quality) *scan.Frame {
	if column < 0 {
		f.Flags = flags
	} else {
		f.Columns[column].Flags = flags
	}
	return f
}

func faults() []fault {
	ratiometric := &sensor.Magnetic{VoltsPerAmpere: 5e-3, ZeroVolts: 2.5, PrimaryTurns: 1, NominalSupply: 5}
	copper := milliohm()
	copper.PerKelvin = 4e-3
	hot := []float64{100}
	return []fault{
		{"upper rail", channel(milliohm()), frame([]float64{32766, 32767, 32768}), []scan.Quality{0, scan.Saturated, scan.Saturated},
			[]float64{204.7875, 204.79375, 204.8}},
		{"lower rail", channel(milliohm()), frame([]float64{-32767, -32768, -40000}), []scan.Quality{0, scan.Saturated, scan.Saturated},
			[]float64{-204.79375, -204.8, -250}},
		{"rail of a reversed sensor", channel(milliohm(), reversed), frame([]float64{32767}),
			[]scan.Quality{scan.Saturated}, []float64{-204.79375}},
		{"rail of a hot shunt: judged on the code", channel(copper, warm), frame([]float64{32767}, hot),
			[]scan.Quality{scan.Saturated}, []float64{204.79375 / 1.32}},
		{"rail and beyond the sensor", channel(milliohm(), limited(100)), frame([]float64{32767}),
			[]scan.Quality{scan.Saturated | scan.OutOfRange}, []float64{204.79375}},
		{"no rails known", channel(milliohm(), func(c *sensor.Config) { c.RangeKnown = false }), frame([]float64{40000}),
			[]scan.Quality{0}, []float64{250}},
		{"beyond the sensor", channel(milliohm(), limited(100)), frame([]float64{16000, 16001, -16001}),
			[]scan.Quality{0, scan.OutOfRange, scan.OutOfRange},
			[]float64{100, 100.00625, -100.00625}},
		{"beyond a float64", channel(milliohm(), volts), frame([]float64{1e307, -1e307}),
			[]scan.Quality{scan.OutOfRange, scan.OutOfRange}, []float64{inf, -inf}},
		{"not finite", channel(milliohm()), frame([]float64{nan, inf, -inf, 160}),
			[]scan.Quality{scan.NotFinite, scan.NotFinite, scan.NotFinite, 0},
			[]float64{nan, nan, nan, 1}},
		{"missing", channel(milliohm()), flagged(frame([]float64{160, 160}), 0, 0, scan.Missing),
			[]scan.Quality{0, scan.Missing}, []float64{1, nan}},
		{"missing, and no number there", channel(milliohm()), flagged(frame([]float64{nan}), 0, scan.Missing),
			[]scan.Quality{scan.Missing}, []float64{nan}},
		{"time", channel(milliohm()), flagged(frame([]float64{160, 320, 32767}), -1, scan.TimeRepeated, 0, scan.TimeBackwards),
			[]scan.Quality{scan.TimeRepeated, 0, scan.TimeBackwards | scan.Saturated}, []float64{1, 2, 204.79375}},
		{"one raw value for the whole frame", channel(milliohm(), warm), frame([]float64{160}, []float64{20, nan}),
			[]scan.Quality{0, scan.AuxiliaryMissing}, []float64{1, 1}},
		{"temperature is no number: the reference stands in", channel(copper, warm), frame([]float64{160, 160}, []float64{nan, 45}),
			[]scan.Quality{scan.AuxiliaryMissing, 0},
			[]float64{1, 1 / 1.1}},
		{"temperature missing", channel(copper, warm), flagged(frame([]float64{160, 160}, hot), 1, scan.Missing),
			[]scan.Quality{scan.AuxiliaryMissing, scan.AuxiliaryMissing}, []float64{1, 1}},
		{"temperature at which the shunt would vanish", channel(copper, warm), frame([]float64{160}, []float64{-230}),
			[]scan.Quality{scan.AuxiliaryMissing}, []float64{1}},
		{"temperature that turns the shunt around", channel(copper, warm), frame([]float64{160}, []float64{-300}),
			[]scan.Quality{scan.AuxiliaryMissing}, []float64{1}},
		{"supply missing", channel(ratiometric, volts, supplied), flagged(frame([]float64{3}, hot, []float64{4.8}), 2, scan.Missing),
			[]scan.Quality{scan.AuxiliaryMissing}, []float64{100}},
		{"no supply", channel(ratiometric, volts, supplied), frame([]float64{3}, hot, []float64{0}),
			[]scan.Quality{scan.AuxiliaryMissing}, []float64{100}},
		{"supply below 0", channel(ratiometric, volts, supplied), frame([]float64{3, 3}, hot, []float64{-0.1, 5}),
			[]scan.Quality{scan.AuxiliaryMissing, 0}, []float64{100, 100}},
	}
}

func TestFaultsAreFlaggedAndTheBestValueKept(t *testing.T) {
	for _, c := range faults() {
		t.Run(c.name, func(t *testing.T) {
			r := read(t, c.config, c.frame)
			usable, causes := 0, scan.Quality(0)
			for k, want := range c.want {
				if r.QualityAt(k) != want {
					t.Errorf("reading %d is %v, want %v", k, r.QualityAt(k), want)
				}
				if got := r.Amperes[k]; !same(got, c.reads[k]) && !(math.Abs(got-c.reads[k]) <= 1e-12*math.Abs(c.reads[k])) {
					t.Errorf("reading %d is %v A, want %v A", k, got, c.reads[k])
				}
				causes |= want
				if want == 0 {
					usable++
				}
			}
			if r.Usable != usable || r.Causes != causes || r.Len() != len(c.want) || len(r.Raw) != len(c.want) {
				t.Errorf("%d of %d usable, causes %v, want %d of %d, %v", r.Usable, r.Len(), r.Causes, usable, len(c.want), causes)
			}
		})
	}
}

func TestExtremesAreThoseOfUsableReadings(t *testing.T) {
	for name, c := range map[string]struct {
		config           sensor.Config
		codes            []float64
		minimum, maximum float64
	}{
		"good":           {channel(milliohm()), []float64{320, -160, 0}, -1, 2},
		"reversed":       {channel(milliohm(), reversed), []float64{320, -160, 0}, -2, 1},
		"with a rail":    {channel(milliohm()), []float64{320, -160, 32767, -32768}, -1, 2},
		"nothing usable": {channel(milliohm()), []float64{nan, 32767}, inf, -inf},
		"nothing":        {channel(milliohm()), nil, inf, -inf},
	} {
		if r := read(t, c.config, frame(c.codes)); r.Minimum != c.minimum || r.Maximum != c.maximum {
			t.Errorf("%s: %v A to %v A, want %v A to %v A", name, r.Minimum, r.Maximum, c.minimum, c.maximum)
		}
	}
}

func TestReadingsCarryTheFrame(t *testing.T) {
	f := frame([]float64{160, 320})
	f.Clock = scan.Clock{Epoch: 3, Sequence: 7, Wall: 11, Monotonic: 13, Offsets: []int64{0, 5}}
	r := read(t, channel(milliohm(), func(c *sensor.Config) { c.Averaged = true }), f)
	if r.Epoch != 3 || r.Sequence != 7 || r.WallAt(1) != 16 || r.At(1) != 18 || !r.Averaged || &r.Raw[0] != &f.Columns[0].Values[0] {
		t.Errorf("%+v", r)
	}
	if r.Age != -1 || r.Generation != 0 || r.Offset != 0 || r.Regular() {
		t.Errorf("an estimate was made up: %+v", r.Estimate)
	}
}
