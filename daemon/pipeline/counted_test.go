package pipeline

import (
	"context"
	"math"
	"testing"
	"testing/synctest"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"google.golang.org/protobuf/testing/protocmp"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// TestEstimatorsSeeTheLedgersCharge lets 10 A flow out for two summaries and 5 A in for one, at 10 Hz, after a ledger that holds charge
// already. The estimator corrects the charge by 3 C; the next summary says so.
func TestEstimatorsSeeTheLedgersCharge(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j := &journal{}
		correcting := fixed(0)
		correcting.do = func(context.Context, *plugin.Summary) (*plugin.Answer, error) {
			return &plugin.Answer{Channels: []*plugin.ChannelEstimate{{
				Name: "meter", CorrectionKnown: true, CorrectionCoulombs: 3, CorrectionUncertaintyCoulombs: 0.5,
			}}}, nil
		}
		s := starts{"old": always(correcting)}
		c := unboundConductor(t, j, ConductorConfig{Start: s.start, Expected: true})
		c.Resume("meter", Ledger{OutMicrocoulombs: 100e6, InMicrocoulombs: 40e6, AdjustmentMicrocoulombs: 1e6, ZeroCoulombs: 2, HeldNanos: 60e9})
		bindDevice(t, c)
		defer c.Close()
		check(t, c.Begin(t.Context(), named("old")))
		for k, amperes := range []float64{10, 10, -5} {
			c.Apply(t.Context(), "dev", frame(uint64(10*k), amperes, 10, 0))
			synctest.Wait()
		}
		want := []*plugin.Charge{
			{OutCoulombs: 109, InCoulombs: 40, AdjustmentCoulombs: 1},
			// The answer to the summary before is known: the offset that was taken is not subtracted, 3 C are.
			{OutCoulombs: 119, InCoulombs: 40, AdjustmentCoulombs: 1 - 3},
		}
		for k, want := range want {
			got := correcting.summaries[k].GetCharge()
			if diff := cmp.Diff(want, got, protocmp.Transform(), protocmp.IgnoreFields(&plugin.Charge{}, "zero_coulombs", "noise_square_coulombs",
				"net_uncertainty_coulombs"), cmpopts.EquateApprox(0, 1e-9)); diff != "" {
				t.Errorf("summary %d (-want +got):\n%s", k, diff)
			}
		}
		first, third := correcting.summaries[0].GetCharge(), correcting.summaries[2].GetCharge()
		if math.Abs(first.GetZeroCoulombs()-1.8) > 1e-9 || math.Abs(first.GetNetUncertaintyCoulombs()-3.8) > 1e-9 {
			t.Errorf("after 0.9 s with a zero of 2 A uncertainty, and 2 C before: %v", first)
		}
		if math.Abs(third.GetNetUncertaintyCoulombs()-2.5) > 0.2 || third.GetInCoulombs() <= 44 || third.GetNoiseSquareCoulombs() <= 0 {
			t.Errorf("the third summary: %v", third)
		}
	})
}
