package coulombsoc

import (
	"testing"

	"github.com/ampledger/ampledger/plugins/estimator/estimatortest"
	"github.com/ampledger/ampledger/plugins/plugin"
)

func TestConformance(t *testing.T) {
	estimatortest.Run(t, func() plugin.Estimator { return New() }, with{
		"capacity_coulombs": 36000.0, "marks": asShare, "initial_state_of_charge": 0.5, "initial_state_of_charge_uncertainty": 0.1,
	})
}
