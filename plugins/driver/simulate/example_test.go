package simulate_test

import (
	"fmt"

	"github.com/ampledger/ampledger/plugins/driver/simulate"
	"github.com/ampledger/ampledger/plugins/driver/simulate/physics"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// A run in one's own process: what offset does an excursion to full scale leave?
func ExampleNewRig() {
	settings, err := plugin.NewSettings(map[string]any{
		"rate_hertz": 10, "duration_seconds": 60,
		"duty": []any{
			map[string]any{"mean_amperes": 0, "amplitude_amperes": 500, "period_seconds": 40, "seconds": 20},
			map[string]any{"contactor_open": true, "seconds": 40},
		},
		"magnetic": map[string]any{
			"bits": 16, "volts_per_ampere": 0.004, "volts_per_code": 1e-4,
			"hysteresis": map[string]any{"model": "jiles-atherton", "full_scale_amperes": 500, "remanence_amperes": 0.8},
		},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	rig, seed, err := simulate.NewRig(settings)
	if err != nil {
		fmt.Println(err)
		return
	}
	run, scan := physics.New(rig, seed), physics.Scan{}
	for run.Next(&scan) {
	}
	fmt.Printf("scan %d: contactor open %v, %.2f A of offset\n", scan.Sequence, scan.ContactorOpen, scan.Magnetic.TrueOffsetAmperes)
	// Output: scan 599: contactor open true, 0.80 A of offset
}
