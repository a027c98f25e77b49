package guard_test

import (
	"fmt"

	"github.com/ampledger/ampledger/daemon/guard"
	"github.com/ampledger/ampledger/daemon/scan"
)

// A short circuit of three scans, 1 ms apart.
func ExampleGuard_Apply() {
	g, err := guard.New([]guard.Setting{{
		Name: "short-circuit", Side: guard.Either,
		Instantaneous: &guard.Instantaneous{PickupAmperes: 1500, Scans: 2},
	}})
	if err != nil {
		fmt.Println(err)
		return
	}
	readings := &scan.Readings{
		Clock:   scan.Clock{Sequence: 700, Period: 1_000_000},
		Amperes: []float64{20, 1800, 2600, 2000, 0},
		Usable:  5, Minimum: 0, Maximum: 2600,
	}
	g.Apply(readings, func(c guard.Change) {
		fmt.Printf("event %d %v at %d: peak %v A, %.1f C\n", c.Event, c.State, c.At.Sequence, c.PeakAmperes, c.ChargeCoulombs)
	})
	// Output:
	// event 1 raised at 701: peak 1800 A, 0.0 C
	// event 1 operated at 702: peak 2600 A, 2.2 C
	// event 1 cleared at 704: peak 2600 A, 5.5 C
}

// The words go into each event, beside the name.
func ExampleSetting_String() {
	fmt.Println(guard.Setting{
		Name: "discharge", Side: guard.Positive,
		InverseTime: &guard.InverseTime{Curve: "iec-very-inverse", PickupAmperes: 300, TimeMultiplier: 0.1},
	})
	// Output: positive side, iec-very-inverse, pickup 300 A, time multiplier 0.1, drop-off ratio 0.95, reset at once
}
