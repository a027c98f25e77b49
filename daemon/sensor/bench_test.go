package sensor_test

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"github.com/ampledger/ampledger/daemon/scan"
	"github.com/ampledger/ampledger/daemon/sensor"
)

// noisy holds n scans of codes, with a temperature and a supply that stand still or move.
func noisy(n int, moving bool) *scan.Frame {
	random := rand.New(rand.NewPCG(1, 2))
	aux := 1
	if moving {
		aux = n
	}
	codes, celsius, supply := make([]float64, n), make([]float64, aux), make([]float64, aux)
	for k := range codes {
		codes[k] = float64(random.IntN(60000) - 30000)
	}
	for k := range celsius {
		celsius[k], supply[k] = 30+random.Float64(), 5+random.Float64()
	}
	return frame(codes, celsius, supply)
}

func everyKind() map[string]sensor.Config {
	ratiometric := &sensor.Magnetic{VoltsPerAmpere: 5e-3, ZeroVolts: 2.5, PrimaryTurns: 1, NominalSupply: 5, PerKelvin: 1e-4}
	return map[string]sensor.Config{
		"constant": channel(milliohm()), "temperature": channel(milliohm(), warm), "supply": channel(ratiometric, warm, supplied), "heating": heated(1e-5),
		"curve": channel(milliohm(), withCorrection(corrected(0.1, 1.01, 1e-6, 1e-9))),
	}
}

func TestNoAllocations(t *testing.T) {
	for name, c := range everyKind() {
		for _, f := range []*scan.Frame{
			noisy(1000, true), noisy(1000, false), frame([]float64{160}, []float64{30}, []float64{5}),
			flagged(noisy(1000, true), -1, make([]scan.Quality, 1000)...),
		} {
			s := must(t, c)
			var r scan.Readings
			s.Apply(f, &r)
			if allocs := testing.AllocsPerRun(20, func() { s.Apply(f, &r) }); allocs != 0 {
				t.Errorf("%s: %v allocations a frame", name, allocs)
			}
		}
	}
}

// BenchmarkApply sets a frame beside the least that must be done for it: a multiplication and an addition a reading.
func BenchmarkApply(b *testing.B) {
	for _, n := range []int{100, 1000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			f := noisy(n, true)
			b.Run("floor", func(b *testing.B) {
				amperes := make([]float64, n)
				for b.Loop() {
					scale(amperes, f.Columns[0].Values, 6.25e-3, 0.1)
				}
				perReading(b, n)
			})
			for _, name := range []string{"constant", "temperature", "supply", "heating"} {
				b.Run(name, func(b *testing.B) { apply(b, everyKind()[name], f) })
			}
			b.Run("temperature-still", func(b *testing.B) { apply(b, everyKind()["temperature"], noisy(n, false)) })
		})
	}
}

func apply(b *testing.B, c sensor.Config, f *scan.Frame) {
	s := must(b, c)
	var r scan.Readings
	b.ReportAllocs()
	for b.Loop() {
		s.Apply(f, &r)
		f.Monotonic += int64(f.Count) * f.Period
	}
	perReading(b, f.Count)
}

func perReading(b *testing.B, n int) {
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(n), "ns/reading")
}

//go:noinline
func scale(amperes, codes []float64, slope, intercept float64) {
	for k, code := range codes {
		amperes[k] = code*slope + intercept
	}
}
