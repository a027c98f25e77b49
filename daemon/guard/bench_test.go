package guard

import (
	"testing"

	"github.com/ampledger/ampledger/daemon/scan"
)

// fourLimits is a usual guard: a long inverse time and a short circuit on the discharge side, both kinds on the charge side.
var fourLimits = []Setting{
	{Name: "discharge", Side: Positive, InverseTime: &InverseTime{Curve: "iec-very-inverse", PickupAmperes: 300, TimeMultiplier: 1e6}},
	{Name: "short-circuit", Side: Either, Instantaneous: &Instantaneous{PickupAmperes: 1500, Scans: 2}},
	{Name: "charge", Side: Negative, DefiniteTime: &DefiniteTime{PickupAmperes: 150, DelaySeconds: 0.5}},
	{Name: "stale", Side: Either, Staleness: &Staleness{AfterSeconds: 2}},
}

// BenchmarkApply sets the guard beside the plain comparison of each reading with two limits. One operation is a frame of 1000.
func BenchmarkApply(b *testing.B) {
	quiet, active := constant(100, 1000), constant(400, 1000)
	b.Run("floor", func(b *testing.B) {
		beyond := 0
		for b.Loop() {
			for _, amperes := range quiet.Amperes {
				if amperes >= 300 || amperes <= -150 {
					beyond++
				}
			}
		}
		perReading(b, quiet)
	})
	b.Run("quiet", func(b *testing.B) { apply(b, quiet) })
	b.Run("active", func(b *testing.B) { apply(b, active) })
	b.Run("walk", func(b *testing.B) {
		g, _ := New(fourLimits)
		for b.Loop() {
			g.walk(quiet, func(Change) {})
		}
		perReading(b, quiet)
	})
}

func apply(b *testing.B, r *scan.Readings) {
	g, err := New(fourLimits)
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		g.Apply(r, func(Change) {})
		r.Monotonic += int64(r.Len()) * r.Period
	}
	perReading(b, r)
}

func perReading(b *testing.B, r *scan.Readings) {
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*r.Len()), "ns/reading")
}
