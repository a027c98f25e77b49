package service_test

import (
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/testing/protocmp"
	"google.golang.org/protobuf/types/known/structpb"

	"github.com/ampledger/ampledger/daemon/pipeline"
	"github.com/ampledger/ampledger/daemon/pluginhost"
	"github.com/ampledger/ampledger/daemon/service/servicetest"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

const (
	starting   = ampledgerv1.SwapStep_SWAP_STEP_STARTING
	configured = ampledgerv1.SwapStep_SWAP_STEP_CONFIGURED
	warming    = ampledgerv1.SwapStep_SWAP_STEP_WARMING
	swapped    = ampledgerv1.SwapStep_SWAP_STEP_SWAPPED
	failed     = ampledgerv1.SwapStep_SWAP_STEP_FAILED
)

func swapRequest(plugin string, amperes float64) *ampledgerv1.SwapEstimatorRequest {
	return &ampledgerv1.SwapEstimatorRequest{
		Conductor: "pack", Plugin: plugin,
		Settings: &structpb.Struct{Fields: map[string]*structpb.Value{"amperes": structpb.NewNumberValue(amperes)}},
	}
}

// estimators lists them.
func estimators(t *testing.T, client ampledgerv1.EstimatorServiceClient) []*ampledgerv1.Estimator {
	t.Helper()
	response, err := client.ListEstimators(t.Context(), &ampledgerv1.ListEstimatorsRequest{})
	if err != nil {
		t.Fatal(err)
	}
	return response.GetEstimators()
}

// swap runs a swap and gives its steps and its last message.
func swap(t *testing.T, client ampledgerv1.EstimatorServiceClient, request *ampledgerv1.SwapEstimatorRequest) (steps []ampledgerv1.SwapStep, last *ampledgerv1.SwapEstimatorResponse) {
	t.Helper()
	s := open(t, client.SwapEstimator, request)
	messages, err := s.rest()
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range messages {
		steps = append(steps, m.GetStep())
	}
	return slices.Compact(steps), messages[len(messages)-1] // Warming comes once for each tenth
}

// TestSwap puts estimators in force one after the other.
func TestSwap(t *testing.T) {
	rig := servicetest.New(t, servicetest.Retained)
	client := ampledgerv1.NewEstimatorServiceClient(rig.Connect())
	if got := estimators(t, client); len(got) != 0 {
		t.Errorf("in force before any was started: %v", got)
	}
	rig.Feed("adc0", 25) // two summaries, and five readings of the third
	for generation, amperes := range []float64{2, 3} {
		steps, last := swap(t, client, swapRequest("fixed", amperes))
		if want := []ampledgerv1.SwapStep{starting, configured, warming, swapped}; !cmp.Equal(steps, want) {
			t.Errorf("steps %v, want %v", steps, want)
		}
		if last.GetGeneration() != uint64(generation)+1 || !cmp.Equal(last.GetAtSequence(), map[string]uint64{"adc0": 30}) {
			t.Errorf("got %v", last)
		}
	}
	rig.Feed("adc0", 15) // up to the end of the fourth summary
	if err := rig.Conductor("pack").EstimatorFault(); err != nil {
		t.Error(err)
	}
	readings := ampledgerv1.NewReadingServiceClient(rig.Connect())
	s := open(t, readings.StreamReadings, &readingsRequest{Conductor: "pack", Channels: []string{"shunt"}, FromOldest: true})
	for range 5 {
		f := s.next().GetFrame()
		offset, generation := 0.0, uint64(0)
		if f.GetFirstSequence() >= 30 {
			offset, generation = 3, 2
		}
		if f.GetOffsetAmperes() != offset || f.GetEstimatorGeneration() != generation || f.GetCurrentAmperes()[0] != float64(f.GetFirstSequence())-offset {
			t.Errorf("frame %v, want an offset of %v A", f, offset)
		}
	}
}

// TestSwapFails leaves the old one in force, whatever becomes of the candidate.
func TestSwapFails(t *testing.T) {
	rig := servicetest.New(t, servicetest.Retained)
	client := ampledgerv1.NewEstimatorServiceClient(rig.Connect())
	rig.Feed("adc0", 20)
	swap(t, client, swapRequest("fixed", 2))
	old := estimators(t, client)
	want := &ampledgerv1.Estimator{
		Conductor: "pack", Plugin: "fixed", Generation: 1, Method: "takes what it is told", ProcessId: 4711, Alive: true,
	}
	for _, channel := range []string{"hall", "shunt"} {
		want.Estimates = append(want.Estimates, &ampledgerv1.Estimate{
			Channel: channel, OffsetAmperes: 2, StandardUncertaintyAmperes: 0.5, ThroughSequence: old[0].GetEstimates()[0].GetThroughSequence(),
		})
	}
	if diff := cmp.Diff([]*ampledgerv1.Estimator{want}, old, protocmp.Transform()); diff != "" {
		t.Fatal(diff)
	}
	for plugin, want := range map[string][]ampledgerv1.SwapStep{"dead": {starting, failed}, "dies": {starting, configured, warming, failed}} {
		steps, last := swap(t, client, swapRequest(plugin, 0))
		if !cmp.Equal(steps, want) || last.GetReason() != servicetest.ErrDead.Error() || len(last.GetAtSequence()) != 0 {
			t.Errorf("%s: steps %v, want %v; ends with %v", plugin, steps, want, last)
		}
	}
	if now := estimators(t, client); now[0].GetGeneration() != 1 || now[0].GetPlugin() != "fixed" || !now[0].GetAlive() {
		t.Errorf("in force after failed swaps: %v", now)
	}
}

// TestSwapBusy refuses a second swap while one goes on; the first one's caller leaves, which ends it.
func TestSwapBusy(t *testing.T) {
	rig := servicetest.New(t, servicetest.Retained)
	client := ampledgerv1.NewEstimatorServiceClient(rig.Connect())
	rig.Feed("adc0", 20)
	s := open(t, client.SwapEstimator, swapRequest("mute", 0))
	for s.next().GetStep() != warming {
	}
	refused(t, fails(t, client.SwapEstimator, swapRequest("fixed", 1)), codes.Aborted, "SWAP_BUSY", "")
	s.leave()
	if _, err := s.rest(); err == nil {
		t.Error("the swap goes on")
	}
	rig.Conductor("pack").Close() // waits for the swap to end
	if got := estimators(t, client); len(got) != 0 {
		t.Errorf("in force: %v", got)
	}
}

// TestSwapRefused names what there is not.
func TestSwapRefused(t *testing.T) {
	rig := servicetest.New(t, servicetest.Retained)
	client := ampledgerv1.NewEstimatorServiceClient(rig.Connect())
	refused(t, fails(t, client.SwapEstimator, &ampledgerv1.SwapEstimatorRequest{Conductor: "tail", Plugin: "fixed"}), codes.NotFound, "CONDUCTOR_UNKNOWN", "")
	for _, plugin := range []string{"", "best"} {
		refused(t, fails(t, client.SwapEstimator, swapRequest(plugin, 0)), codes.InvalidArgument, "PLUGIN_UNKNOWN", "plugin")
	}
}

// TestFaultyEstimator shows one that ended by itself.
func TestFaultyEstimator(t *testing.T) {
	rig := servicetest.New(t, servicetest.Retained)
	client := ampledgerv1.NewEstimatorServiceClient(rig.Connect())
	err := rig.Conductor("pack").Begin(t.Context(), pipeline.Candidate{Program: pluginhost.Program{Shipped: "dead"}})
	if got := estimators(t, client); err == nil || len(got) != 1 || got[0].GetAlive() || got[0].GetFault() != servicetest.ErrDead.Error() {
		t.Errorf("%v, listed as %v", err, got)
	}
}
