package sensor_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"github.com/ampledger/ampledger/daemon/scan"
	"github.com/ampledger/ampledger/daemon/sensor"
)

// anyChannel draws a channel of any kind, with whatever may be wired to it.
func anyChannel(t *rapid.T) sensor.Config {
	c := channel(nil)
	coefficient := rapid.SampledFrom([]float64{0, 2.5e-5, 3.93e-3, -1e-3})
	switch rapid.SampledFrom([]string{"shunt", "heated", "magnetic", "reported"}).Draw(t, "kind") {
	case "shunt":
		c.Model = &sensor.Shunt{ResistanceOhms: 1e-3, Gain: 10, PerKelvin: coefficient.Draw(t, "α"), PerKelvin2: -1e-7, ReferenceCelsius: 20}
		c.Temperature = rapid.SampledFrom([]int{sensor.None, 1}).Draw(t, "temperature")
	case "heated":
		c = heated(coefficient.Draw(t, "α"))
	case "magnetic":
		c.Model = &sensor.Magnetic{
			VoltsPerAmpere: 4e-3, ZeroVolts: 0.3, PrimaryTurns: 2, PerKelvin: coefficient.Draw(t, "S"), ZeroPerKelvin: 1e-4,
			ReferenceCelsius: 25, NominalSupply: rapid.SampledFrom([]float64{0, 5}).Draw(t, "nominal"),
		}
		c.Temperature = rapid.SampledFrom([]int{sensor.None, 1}).Draw(t, "temperature")
		c.Supply = rapid.SampledFrom([]int{sensor.None, 2}).Draw(t, "supply")
	case "reported":
		c.Model = sensor.Reported{}
	}
	c.Reversed, c.RangeKnown = rapid.Bool().Draw(t, "reversed"), rapid.Bool().Draw(t, "range")
	c.ZeroCountVolts = rapid.SampledFrom([]float64{0, 0.001}).Draw(t, "zero")
	c.CalibrationA0, c.CalibrationA1 = rapid.SampledFrom([]float64{0, 0.1}).Draw(t, "a0"), rapid.SampledFrom([]float64{1, 0.99}).Draw(t, "a1")
	c.MaximumAmperes = rapid.SampledFrom([]float64{inf, 150}).Draw(t, "maximum")
	return c
}

// anyFrames draws what a device may send: still or moving columns, regular or irregular times, pauses, new epochs. A wild one also has every
// fault and any value at all.
func anyFrames(t *rapid.T, wild bool) (frames []*scan.Frame) {
	clock := scan.Clock{Sequence: 5}
	for range rapid.IntRange(1, 5).Draw(t, "frames") {
		f := &scan.Frame{Clock: clock, Count: rapid.IntRange(1, 10).Draw(t, "scans")}
		if rapid.Bool().Draw(t, "regular") {
			f.Period = millisecond * 200
		} else {
			f.Offsets = rapid.SliceOfN(rapid.Int64Range(-second, 100*second), f.Count, f.Count).Draw(t, "offsets")
		}
		codes := rapid.Map(rapid.IntRange(-32767, 32766), func(code int) float64 { return float64(code) })
		f.Columns = []scan.Column{
			column(t, f.Count, wild, rapid.OneOf(codes, rapid.SampledFrom([]float64{0, -32768, 32767}))),
			column(t, f.Count, wild, rapid.Float64Range(-20, 80)),
			column(t, f.Count, wild, rapid.Float64Range(4.5, 5.5)),
		}
		if wild && rapid.Bool().Draw(t, "flags") {
			f.Flags = flags(t, f.Count)
		}
		frames = append(frames, f)
		clock.Sequence += uint64(f.Count)
		clock.Monotonic = f.At(f.Count-1) + second
		if rapid.IntRange(0, 5).Draw(t, "restart") == 0 {
			clock.Epoch, clock.Monotonic = clock.Epoch+1, 0
		}
	}
	return frames
}

func column(t *rapid.T, count int, wild bool, usual *rapid.Generator[float64]) (c scan.Column) {
	n := count
	if rapid.Bool().Draw(t, "still") {
		n = 1
	}
	if wild {
		usual = rapid.OneOf(usual, rapid.Float64(), rapid.SampledFrom([]float64{nan, inf, -inf, math.MaxFloat64, -math.MaxFloat64, 5e-324}))
		if rapid.Bool().Draw(t, "flags") {
			c.Flags = flags(t, n)
		}
	}
	c.Values = rapid.SliceOfN(usual, n, n).Draw(t, "values")
	return c
}

func flags(t *rapid.T, n int) []scan.Quality {
	one := rapid.OneOf(rapid.Just(scan.Quality(0)), rapid.SampledFrom(scan.Causes[:]))
	return rapid.SliceOfN(one, n, n).Draw(t, "qualities")
}

func newSensor(c sensor.Config) *sensor.Sensor {
	s, err := sensor.New(c)
	if err != nil {
		panic(err)
	}
	return s
}

// obvious converts one reading by the formulas as they stand in the books.
func obvious(c sensor.Config, f *scan.Frame, k int) float64 {
	celsius, supply := 20.0, 5.0
	if _, is := c.Model.(*sensor.Magnetic); is {
		celsius = 25
	}
	if c.Temperature != sensor.None {
		celsius = f.Columns[c.Temperature].At(k)
	}
	if c.Supply != sensor.None {
		supply = f.Columns[c.Supply].At(k)
	}
	volts := c.ZeroCountVolts + c.VoltsPerCount*f.Columns[c.Input].At(k)
	amperes := volts
	switch m := c.Model.(type) {
	case *sensor.Shunt:
		rise := celsius - m.ReferenceCelsius
		amperes = volts / (m.Gain * m.ResistanceOhms * (1 + m.PerKelvin*rise + m.PerKelvin2*rise*rise))
	case *sensor.Magnetic:
		rise := celsius - m.ReferenceCelsius
		if m.NominalSupply != 0 {
			volts *= m.NominalSupply / supply
		}
		amperes = (volts - m.ZeroVolts - m.ZeroPerKelvin*rise) / (m.VoltsPerAmpere * (1 + m.PerKelvin*rise) * m.PrimaryTurns)
	}
	if c.Reversed {
		amperes = -amperes
	}
	return (amperes - c.CalibrationA0) / c.CalibrationA1
}

func TestReadingsAreThoseOfTheFormulas(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := anyChannel(t)
		if c.Heating != nil {
			c.Heating = nil // its own closed form is tested elsewhere
		}
		s := newSensor(c)
		var r scan.Readings
		for _, f := range anyFrames(t, false) {
			s.Apply(f, &r)
			for k, got := range r.Amperes {
				want := obvious(c, f, k)
				if !(math.Abs(got-want) <= 1e-12*(100+math.Abs(want))) {
					t.Fatalf("reading %d: %v A, want %v A", k, got, want)
				}
				raw := r.Raw[k]
				railed, beyond := c.RangeKnown && (raw <= -32768 || raw >= 32767), math.Abs(got) > c.MaximumAmperes
				if (r.QualityAt(k)&scan.Saturated != 0) != railed || (r.QualityAt(k)&scan.OutOfRange != 0) != beyond {
					t.Fatalf("reading %d: raw %v, %v A: %v", k, raw, got, r.QualityAt(k))
				}
			}
		}
	})
}

// Flags that flag nothing send a frame the slow way.
func slowly(f *scan.Frame) *scan.Frame {
	slow := *f
	if slow.Flags == nil {
		slow.Flags = make([]scan.Quality, f.Count)
	}
	return &slow
}

func TestFastWayEqualsSlowWay(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c, wild := anyChannel(t), rapid.Bool().Draw(t, "wild")
		fast, slow := newSensor(c), newSensor(c)
		var a, b scan.Readings
		for _, f := range anyFrames(t, wild) {
			fast.Apply(f, &a)
			slow.Apply(slowly(f), &b)
			if !same(a.Minimum, b.Minimum) || !same(a.Maximum, b.Maximum) || a.Usable != b.Usable || a.Causes != b.Causes {
				t.Fatalf("fast %+v\nslow %+v", a, b)
			}
			equalFrom(t, &a, &b, 0)
		}
	})
}

// equalFrom wants part to be the readings of whole from reading k on.
func equalFrom(t *rapid.T, whole, part *scan.Readings, k int) {
	for i := range part.Amperes {
		if !same(whole.Amperes[k+i], part.Amperes[i]) || !same(whole.Raw[k+i], part.Raw[i]) || whole.QualityAt(k+i) != part.QualityAt(i) ||
			whole.At(k+i) != part.At(i) {
			t.Fatalf("reading %d differs\n%+v\n%+v", k+i, whole, part)
		}
	}
}

func TestFrameCutsChangeNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c, wild := anyChannel(t), rapid.Bool().Draw(t, "wild")
		whole, pieces := newSensor(c), newSensor(c)
		var once, piece scan.Readings
		var part scan.Frame
		for _, f := range anyFrames(t, wild) {
			whole.Apply(f, &once)
			minimum, maximum, usable, causes := inf, -inf, 0, scan.Quality(0)
			for i, j := 0, 0; i < f.Count; i = j {
				j = rapid.IntRange(i+1, f.Count).Draw(t, "cut")
				f.Cut(i, j, &part)
				pieces.Apply(&part, &piece)
				equalFrom(t, &once, &piece, i)
				minimum, maximum = min(minimum, piece.Minimum), max(maximum, piece.Maximum)
				usable, causes = usable+piece.Usable, causes|piece.Causes
			}
			if minimum != once.Minimum || maximum != once.Maximum || usable != once.Usable || causes != once.Causes {
				t.Fatalf("%v to %v, %d, %v: %+v", minimum, maximum, usable, causes, once)
			}
		}
	})
}

// Whatever comes: no panic, no good reading that is none, no fault that is lost, extremes and counts of the good ones.
func TestEveryUnusableReadingIsFlagged(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := anyChannel(t)
		s := newSensor(c)
		var r scan.Readings
		for _, f := range anyFrames(t, true) {
			s.Apply(f, &r)
			good := 0
			for k := range f.Count {
				told := f.Columns[0].FlagAt(k)
				if f.Flags != nil {
					told |= f.Flags[k]
				}
				if r.QualityAt(k)&told != told {
					t.Fatalf("reading %d: %v was told, it is %v", k, told, r.QualityAt(k))
				}
				if r.QualityAt(k) != 0 {
					continue
				}
				good++
				raw, y := r.Raw[k], r.Amperes[k]
				if y-y != 0 || raw-raw != 0 || math.Abs(y) > c.MaximumAmperes || y < r.Minimum || y > r.Maximum || c.RangeKnown && (raw <= -32768 || raw >= 32767) {
					t.Fatalf("reading %d is called good: %v, %v A of %v A to %v A", k, raw, y, r.Minimum, r.Maximum)
				}
				for _, input := range []int{c.Temperature, c.Supply} {
					if input != sensor.None && (f.Columns[input].FlagAt(k) != 0 || f.Columns[input].At(k)-f.Columns[input].At(k) != 0) {
						t.Fatalf("reading %d is called good without input %d", k, input)
					}
				}
			}
			if good != r.Usable || (r.Causes == 0) != (good == f.Count) {
				t.Fatalf("%d good, %d usable, causes %v", good, r.Usable, r.Causes)
			}
		}
	})
}
