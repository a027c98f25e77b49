package fusion_test

import (
	"fmt"

	"github.com/ampledger/ampledger/daemon/fusion"
	"github.com/ampledger/ampledger/daemon/scan"
)

// A shunt of a short range and a magnetic channel of a long one, three scans, 1 ms apart; at the last one the shunt is at its limit.
func ExampleStage_Apply() {
	clock := scan.Clock{Sequence: 700, Period: 1_000_000}
	shunt := &scan.Readings{
		Clock: clock, Amperes: []float64{98, 99, 100}, Quality: []scan.Quality{0, 0, scan.Saturated}, Usable: 2, Causes: scan.Saturated,
	}
	magnetic := &scan.Readings{Clock: clock, Amperes: []float64{98.5, 99.4, 100.6}, Usable: 3}

	stage := fusion.New(2, 0)
	stage.Weigh([]fusion.Part{{ZeroAmperes: 0.1}, {ZeroAmperes: 0.3}})
	parts := []*scan.Readings{shunt, magnetic}
	for from := 0; from < shunt.Len(); {
		var fused scan.Readings
		from = stage.Apply(parts, from, &fused)
		fmt.Printf("from %d: %.2f A, each ± %.3f A\n", fused.Sequence, fused.Amperes, fused.ZeroAmperes)
	}
	for i, share := range stage.Take(nil) {
		fmt.Printf("channel %d: %.5f C in %.5f s\n", i, share.Coulombs, share.WeightSeconds)
	}
	// Output:
	// from 700: [98.05 99.04] A, each ± 0.095 A
	// from 702: [100.60] A, each ± 0.360 A
	// channel 0: 0.13320 C in 0.00135 s
	// channel 1: 0.06517 C in 0.00065 s
}
