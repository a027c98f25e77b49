package coulombsoc

import (
	"testing"

	"github.com/ampledger/ampledger/plugins/estimator/estimatortest"
	"github.com/ampledger/ampledger/plugins/plugin"
)

func TestConformance(t *testing.T) {
	for name, settings := range map[string]map[string]any{
		"marks in coulombs": {"capacity_coulombs": 36000.0},
		"marks as shares":   {"capacity_coulombs": 36000.0, "marks": "state-of-charge", "initial_state_of_charge": 0.5, "initial_state_of_charge_uncertainty": 0.1},
	} {
		t.Run(name, func(t *testing.T) {
			estimatortest.Run(t, func() plugin.Estimator { return New() }, settings)
		})
	}
}
