package pipeline

import (
	"context"
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"
	"go.uber.org/zap"

	"github.com/ampledger/ampledger/daemon/guard"
	"github.com/ampledger/ampledger/daemon/pluginhost"
	"github.com/ampledger/ampledger/daemon/scan"
	"github.com/ampledger/ampledger/daemon/sensor"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// pair makes a conductor whose charge is that of two channels fused: fine reads up to 20 A, coarse has three times its zero error.
func pair(t *testing.T, to Sink, o *observer, told *plugin.Conductor) *Conductor {
	t.Helper()
	lane := func(name string, zero, most float64) LaneConfig {
		return LaneConfig{
			Name: name, SensorKind: "reported", Device: "dev", Input: name, GapBoundAmperes: 100,
			Sensor: func(inputs Inputs) (sensor.Config, error) {
				column, _, err := inputs.Find(name)
				return sensor.Config{
					Model: sensor.Reported{}, Input: column, Temperature: sensor.None, Supply: sensor.None, VoltsPerCount: 1, CalibrationA1: 1,
					MaximumAmperes: most, ZeroAmperes: zero,
				}, err
			},
		}
	}
	c, err := NewConductor(ConductorConfig{
		Name: "pack", ChargeFrom: Fused, PostNanos: 1e9, Log: zap.NewNop(), Lockstep: true,
		Lanes: []LaneConfig{lane("fine", 1, 20), lane("coarse", 3, 500)},
		Fused: &LaneConfig{
			Name: Fused, SensorKind: Fused, Device: "dev",
			Guard: []guard.Setting{{Name: "over", Side: guard.Positive, Instantaneous: &guard.Instantaneous{PickupAmperes: 50, Scans: 1}}},
		},
		Start: func(_ context.Context, _ Candidate, conductor plugin.Conductor, _ pluginhost.Kept, _ func(Step)) (Started, error) {
			*told = conductor
			return Started{Observer: o}, nil
		},
	}, to)
	check(t, err)
	inputs := NewInputs("dev", &plugin.Description{Inputs: []*plugin.Input{{Name: "fine", Unit: "A"}, {Name: "coarse", Unit: "A"}}})
	check(t, c.Bind(inputs, DeviceSettings{GapNanos: 5e8, SummaryScans: 10, StaleNanos: 5e9, EstimateStaleNanos: 5e9}))
	check(t, c.Begin(t.Context(), named("e")))
	return c
}

// both makes ten scans of two channels.
func both(sequence uint64, fine, coarse float64) *scan.Frame {
	f := frame(sequence, fine, 10, coarse)
	f.Columns[1].Values = []float64{coarse, coarse, coarse, coarse, coarse, coarse, coarse, coarse, coarse, coarse}
	return f
}

// fusing answers with offsets, with the covariances of the channels' errors, and that 2 C too much were fused.
func fusing(covariances ...*plugin.ErrorCovariance) *observer {
	return &observer{do: func(_ context.Context, s *plugin.Summary) (*plugin.Answer, error) {
		return &plugin.Answer{
			Channels: []*plugin.ChannelEstimate{
				{Name: "fine", OffsetAmperes: 1, StandardUncertaintyAmperes: 1}, {Name: "coarse", OffsetAmperes: -1, StandardUncertaintyAmperes: 3},
			},
			Covariances: covariances, Fused: &plugin.FusedCorrection{CorrectionCoulombs: 2, CorrectionUncertaintyCoulombs: 0.25},
		}, nil
	}}
}

// TestFusedChannel follows the fused current through the stages: weights 0.9 and 0.1 by the zeros' uncertainties 1 and 3 A, the coarse channel alone where
// the fine one is beyond its range, the guard, the ledger, and the estimator's word on its charge.
func TestFusedChannel(t *testing.T) {
	j, o, told := &journal{}, fusing(), plugin.Conductor{}
	c := pair(t, j, o, &told)
	defer c.Close()
	c.Apply(t.Context(), "dev", both(0, 11, 1))    // 10 A uncompensated: 0.9·11 + 0.1·1
	c.Apply(t.Context(), "dev", both(10, 11, 9))   // 10 A compensated, by both
	c.Apply(t.Context(), "dev", both(20, 120, 79)) // 80 A, by the coarse one alone
	c.End(t.Context(), "dev")
	var amperes []float64
	for i := 20; i < len(j.amperes); i += 30 { // the fused readings come third
		amperes = append(amperes, j.amperes[i])
	}
	if diff := cmp.Diff([]float64{10, 10, 80}, amperes, cmp.Comparer(func(a, b float64) bool { return math.Abs(a-b) < 1e-12 })); diff != "" {
		t.Errorf("fused amperes (-want +got):\n%s", diff)
	}
	if diff := cmp.Diff([]string{
		"saturation saturated RAISED", "saturation saturated OPERATED", "instantaneous over RAISED", "instantaneous over OPERATED",
	}, j.told()); diff != "" {
		t.Errorf("events (-want +got):\n%s", diff)
	} else if peak := j.events[3].GetPeakAmperes(); peak != 80 || j.events[3].GetChannel() != Fused {
		t.Errorf("the event is of channel %s, peak %g A", j.events[3].GetChannel(), peak)
	}
	if names := []string{told.Channels[0].GetName(), told.Channels[1].GetName()}; len(told.Channels) != 2 || names[0] != "fine" {
		t.Errorf("the estimator was told of %q", names)
	}
	account := c.Accounts()[2]
	checkShares(t, o, coulombs(account.Total.Net()))
	// Offsets were subtracted as the charge was counted; what is left of the estimator's 2 C is adjusted.
	offsets := rawOf(o) - coulombs(account.Total.Net())
	if got, want := coulombs(account.Adjustment), offsets-2; math.Abs(got-want) > 2e-6 {
		t.Errorf("adjusted by %.6f C, want %.6f C", got, want)
	}
	if u := account.Total.ZeroCoulombs; math.Abs(u-0.25) > 1e-9 {
		t.Errorf("uncertainty %g C, the estimator says 0.25 C", u)
	}
	if status, _ := c.Estimator(); len(status.Newest) != 2 {
		t.Errorf("offsets of %v", status.Newest)
	}
}

// rawOf gives what flowed by the shares, before any offset.
func rawOf(o *observer) (coulombs float64) {
	for _, s := range o.summaries {
		for _, share := range s.GetFused().GetShares() {
			coulombs += share.GetIntegralCoulombs()
		}
	}
	return coulombs
}

// checkShares wants the weights' integrals to be the time, and the third summary to be the coarse channel's but for the interval before it.
func checkShares(t *testing.T, o *observer, net float64) {
	t.Helper()
	for i, s := range o.summaries {
		seconds := 0.0
		for _, share := range s.GetFused().GetShares() {
			seconds += share.GetWeightSeconds()
		}
		if math.Abs(seconds-s.GetFused().GetIntegralSeconds()) > 1e-9 || math.Abs(seconds-s.GetChannels()[1].GetIntegralSeconds()) > 1e-9 {
			t.Errorf("summary %d: the weights' integrals add up to %g s of %g s", i, seconds, s.GetFused().GetIntegralSeconds())
		}
	}
	fine := o.summaries[2].GetFused().GetShares()[0]
	if fine.GetName() != "fine" || math.Abs(fine.GetWeightSeconds()-0.9*0.05) > 1e-9 {
		t.Errorf("share of the fine channel in the third summary: %v", fine)
	}
	if want := 1.9*10 + 0.1*45 + 0.9*80; math.Abs(net-want) > 1e-5 {
		t.Errorf("net is %.6f C, want %.6f C", net, want)
	}
}

// TestFusedWeightsFollowTheCovariances: errors that hang together leave nothing to the worse channel.
func TestFusedWeightsFollowTheCovariances(t *testing.T) {
	covariance := func(a, b string, v float64) *plugin.ErrorCovariance {
		return &plugin.ErrorCovariance{First: a, Second: b, SquareAmperes: v}
	}
	o, told := fusing(covariance("fine", "fine", 4), covariance("fine", "coarse", 4), covariance("coarse", "coarse", 9)), plugin.Conductor{}
	j := &journal{}
	c := pair(t, j, o, &told)
	defer c.Close()
	for i := range 3 {
		c.Apply(t.Context(), "dev", both(uint64(10*i), 11, 4))
	}
	last := o.summaries[2].GetFused().GetShares()[0] // with the first interval still the summary's before
	if w := last.GetWeightSeconds(); math.Abs(w-1) > 1e-9 || j.amperes[len(j.amperes)-1] != 10 {
		t.Errorf("the fine channel has weighed %g s of 1 s, the current is %g A", w, j.amperes[len(j.amperes)-1])
	}
}
