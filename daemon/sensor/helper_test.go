package sensor_test

import (
	"math"
	"testing"

	"github.com/ampledger/ampledger/daemon/scan"
	"github.com/ampledger/ampledger/daemon/sensor"
)

const (
	millisecond = int64(1e6)
	second      = int64(1e9)
)

var (
	nan = math.NaN()
	inf = math.Inf(1)
)

// channel is a sensor on input 0, its temperature on 1 and its supply on 2 if wired, behind a signed converter of 16 bits and 62.5 µV.
func channel(model sensor.Model, changes ...func(*sensor.Config)) sensor.Config {
	c := sensor.Config{
		Model: model, Temperature: sensor.None, Supply: sensor.None, VoltsPerCount: 62.5e-6, Counts: true,
		RangeKnown: true, MinimumRaw: -32768, MaximumRaw: 32767, CalibrationA1: 1, MaximumAmperes: inf,
	}
	for _, change := range changes {
		change(&c)
	}
	return c
}

// Changes to a channel.
func warm(c *sensor.Config)     { c.Temperature = 1 }
func supplied(c *sensor.Config) { c.Supply = 2 }
func reversed(c *sensor.Config) { c.Reversed = true }

// volts makes the raw value volts, or amperes, as they are.
func volts(c *sensor.Config) { c.VoltsPerCount, c.Counts, c.RangeKnown = 1, false, false }

func limited(amperes float64) func(*sensor.Config) {
	return func(c *sensor.Config) { c.MaximumAmperes = amperes }
}

// milliohm is a shunt of 1 mΩ behind a gain of 10, so that a count is 6.25 mA.
func milliohm() *sensor.Shunt {
	return &sensor.Shunt{ResistanceOhms: 1e-3, Gain: 10, ReferenceCelsius: 20}
}

func must(t testing.TB, c sensor.Config) *sensor.Sensor {
	t.Helper()
	s, err := sensor.New(c)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// frame holds a scan each millisecond; a column has a value a scan, or one for all.
func frame(columns ...[]float64) *scan.Frame {
	f := &scan.Frame{Clock: scan.Clock{Period: millisecond}}
	for _, values := range columns {
		f.Count = max(f.Count, len(values))
		f.Columns = append(f.Columns, scan.Column{Values: values})
	}
	return f
}

// read gives the readings of one frame.
func read(t testing.TB, c sensor.Config, f *scan.Frame) *scan.Readings {
	t.Helper()
	var r scan.Readings
	must(t, c).Apply(f, &r)
	return &r
}

// one gives the amperes of a single scan.
func one(t testing.TB, c sensor.Config, inputs ...float64) float64 {
	t.Helper()
	columns := make([][]float64, len(inputs))
	for i := range inputs {
		columns[i] = inputs[i : i+1]
	}
	r := read(t, c, frame(columns...))
	if r.Causes != 0 {
		t.Errorf("%v is %v", inputs, r.Causes)
	}
	return r.Amperes[0]
}

func near(t testing.TB, what string, got, want, ratio float64) {
	t.Helper()
	if !(math.Abs(got-want) <= ratio*math.Abs(want)) {
		t.Errorf("%s: got %.17g, want %.17g", what, got, want)
	}
}

// same compares bits; any NaN equals any other.
func same(a, b float64) bool {
	return math.Float64bits(a) == math.Float64bits(b) || math.IsNaN(a) && math.IsNaN(b)
}
