package pipeline

import (
	"fmt"
	"math"
	"testing"

	"github.com/ampledger/ampledger/daemon/charge"
	"github.com/ampledger/ampledger/daemon/guard"
	"github.com/ampledger/ampledger/daemon/offset"
	"github.com/ampledger/ampledger/daemon/scan"
	"github.com/ampledger/ampledger/daemon/sensor"
)

// chain is one channel's stages, as a Lane has them, with an estimate in force and an element of each kind.
type chain struct {
	sensor   *sensor.Sensor
	offset   *offset.Stage
	guard    *guard.Guard
	account  *charge.Account
	readings scan.Readings
	changes  int
	tell     func(guard.Change)
}

func newChain(tb testing.TB) *chain {
	tb.Helper()
	c := &chain{offset: offset.New(1<<40, math.MaxInt64)}
	c.tell = func(guard.Change) { c.changes++ }
	c.offset.Take(offset.Estimate{Amperes: 0.25, Uncertainty: 0.01, WalkPerRootSecond: 0.001, Estimator: "fixedzero", Generation: 1})
	var err error
	c.sensor, err = sensor.New(sensor.Config{
		Model:       &sensor.Shunt{ResistanceOhms: 1e-4, Gain: 50},
		Temperature: sensor.None, Supply: sensor.None, VoltsPerCount: 1e-4, Counts: true,
		RangeKnown: true, MinimumRaw: -32768, MaximumRaw: 32767, CalibrationA1: 1, MaximumAmperes: math.Inf(1), NoiseAmperes: 0.05, GainRatio: 1e-3,
	})
	check(tb, err)
	c.guard, err = guard.New([]guard.Setting{
		{Name: "instantaneous", Side: guard.Either, Instantaneous: &guard.Instantaneous{PickupAmperes: 500, Scans: 2}},
		{Name: "definite", Side: guard.Positive, DefiniteTime: &guard.DefiniteTime{PickupAmperes: 400, DelaySeconds: 1}},
		{Name: "inverse", Side: guard.Positive, InverseTime: &guard.InverseTime{Curve: "iec-very-inverse", PickupAmperes: 300, TimeMultiplier: 1}},
		{Name: "saturated", Side: guard.Either, Saturation: &guard.Saturation{Scans: 1}},
		{Name: "stale", Side: guard.Either, Staleness: &guard.Staleness{AfterSeconds: 5}},
	})
	check(tb, err)
	c.account, err = charge.New(charge.Config{GapNanos: 5e6, BoundAmperes: 600, SaturatedBoundAmperes: 1200})
	check(tb, err)
	return c
}

func (c *chain) apply(f *scan.Frame) {
	c.sensor.Apply(f, &c.readings)
	c.offset.Apply(&c.readings)
	c.guard.Apply(&c.readings, c.tell)
	c.account.Apply(&c.readings)
}

// duty makes a regular frame at 1 kHz around a mean in counts of 0.02 A.
func duty(scans int, mean float64) *scan.Frame {
	f := &scan.Frame{Clock: scan.Clock{Epoch: 1, Period: 1e6}, Count: scans, Columns: []scan.Column{{Values: make([]float64, scans)}}}
	for k := range f.Columns[0].Values {
		f.Columns[0].Values[k] = math.Round(mean + 50*math.Sin(float64(k)/7))
	}
	return f
}

func (c *chain) next(f *scan.Frame) {
	f.Sequence += uint64(f.Count)
	f.Monotonic += int64(f.Count) * f.Period
	f.Wall += int64(f.Count) * f.Period
}

var floorSink float64

// floor is the plain loop: scale and sum.
func floor(values []float64, to []float64, slope float64) float64 {
	sum := 0.0
	for k, v := range values {
		y := v * slope
		to[k] = y
		sum += y
	}
	return sum
}

// BenchmarkChain measures sensor, offset, guard and charge together beside the plain loop over the same array, in ns a reading.
func BenchmarkChain(b *testing.B) {
	for _, scans := range []int{16, 100, 1000} {
		b.Run(fmt.Sprintf("floor/%d", scans), func(b *testing.B) {
			f, to := duty(scans, 3000), make([]float64, scans)
			for b.Loop() {
				floorSink += floor(f.Columns[0].Values, to, 0.02)
			}
			perReading(b, scans)
		})
		for name, mean := range map[string]float64{"quiet": 3000, "active": 17500} {
			b.Run(fmt.Sprintf("%s/%d", name, scans), func(b *testing.B) {
				c, f := newChain(b), duty(scans, mean)
				b.ReportAllocs()
				for b.Loop() {
					c.apply(f)
					c.next(f)
				}
				perReading(b, scans)
			})
		}
	}
}

func perReading(b *testing.B, scans int) {
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*scans), "ns/reading")
}

// TestChainAllocatesNothing holds the stages to their promise in steady state, quiet and active.
func TestChainAllocatesNothing(t *testing.T) {
	for name, mean := range map[string]float64{"quiet": 3000, "active": 17500} {
		t.Run(name, func(t *testing.T) {
			c, f := newChain(t), duty(1000, mean)
			c.apply(f)
			if n := testing.AllocsPerRun(100, func() { c.next(f); c.apply(f) }); n != 0 {
				t.Errorf("%v allocations a frame", n)
			}
			if (c.changes > 0) != (name == "active") {
				t.Errorf("%d changes told", c.changes)
			}
		})
	}
}

func check(tb testing.TB, err error) {
	tb.Helper()
	if err != nil {
		tb.Fatal(err)
	}
}
