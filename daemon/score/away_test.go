package score_test

import (
	"math"
	"testing"
	"time"

	"go.uber.org/zap"

	"github.com/ampledger/ampledger/daemon/pluginhost"
	"github.com/ampledger/ampledger/plugins/plugin"
	pluginv1 "github.com/ampledger/ampledger/proto/ampledger/plugin/v1"
)

// biasfilterProcess starts one with what was kept of another.
func biasfilterProcess(t *testing.T, kept pluginhost.Kept) *pluginhost.Estimator {
	t.Helper()
	o := options(t)
	host := &pluginhost.Host{Executable: o.Executable, Arguments: o.Arguments, Folder: t.TempDir(), Log: zap.NewNop()}
	conductor := plugin.Conductor{Name: "pack", Channels: []*plugin.Channel{{Name: "main", ZeroUncertaintyAmperes: 0.5, NoiseAmperes: 0.2}}}
	with := map[string]any{"channels": map[string]any{"main": map[string]any{"zero_walk_amperes_per_root_hour": 0.2}}}
	e, err := host.StartEstimator(t.Context(), pluginhost.Program{Shipped: "biasfilter"}, conductor, with, kept)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(e.Close)
	return e
}

// restOf is a minute of a rest with a zero of 0.3 A, with a mark and a fused current that is the channel's.
func restOf(k uint64) *plugin.Summary {
	at := int64(k) * 60e9
	return &plugin.Summary{
		Device: "adc", FirstSequence: k * 60, LastSequence: k*60 + 59, FirstMonotonicNanos: at, LastMonotonicNanos: at + 59e9, Rest: pluginv1.Rest_REST_CERTAIN,
		Channels: []*plugin.ChannelSummary{{
			Name: "main", ReadingCount: 60, MeanAmperes: 0.3, VarianceSquareAmperes: 0.04, MinimumAmperes: 0, MaximumAmperes: 1, IntegralSeconds: 60, IntegralCoulombs: 18,
		}},
		Marks: []*plugin.Mark{{StandardUncertaintyCoulombs: 0}},
		Fused: &plugin.Fused{IntegralSeconds: 60, Shares: []*plugin.FusedShare{{Name: "main", WeightSeconds: 60, IntegralCoulombs: 18}}},
	}
}

// Through a process of its own: a state that comes back after nine hours has let its zero walk for as long, by 0.2 A/√h to 0.6 A; marks, notes, the
// fused charge and covariances come and go on the wire.
func TestBiasfilterGetsOlderWhileItIsAway(t *testing.T) {
	first := biasfilterProcess(t, pluginhost.Kept{})
	for k := range uint64(30) {
		answer, err := first.Observe(t.Context(), restOf(k))
		if err != nil {
			t.Fatal(err)
		}
		if notes := answer.GetNotes(); len(notes) != 1 || notes[0].GetSubject() != "mark refused" {
			t.Errorf("notes %v, want the mark refused", notes)
		}
		main, fused := answer.GetChannels()[0], answer.GetFused()
		near(t, "fused charge", fused.GetCorrectionCoulombs(), main.GetCorrectionCoulombs(), 1e-9*(1+main.GetCorrectionCoulombs()))
		if c := answer.GetCovariances(); len(c) != 1 || math.Abs(math.Sqrt(c[0].GetSquareAmperes())-main.GetStandardUncertaintyAmperes()) > 1e-3 {
			t.Errorf("covariances %v beside ± %v A", c, main.GetStandardUncertaintyAmperes())
		}
	}
	state, err := first.Snapshot(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for away, want := range map[time.Duration]float64{0: 0, 9 * time.Hour: 0.6} {
		next := restOf(0)
		next.Rest = pluginv1.Rest_REST_NONE
		answer, err := biasfilterProcess(t, pluginhost.Kept{State: state, Away: away}).Observe(t.Context(), next)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "after "+away.String()+": uncertainty", answer.GetChannels()[0].GetStandardUncertaintyAmperes(), want, 0.05)
	}
}
