package service_test

import (
	"context"
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/grpc/codes"

	"github.com/ampledger/ampledger/daemon/service/servicetest"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

const shadowing = ampledgerv1.SwapStep_SWAP_STEP_SHADOWING

func shadowRequest(name, plugin string, amperes float64) *ampledgerv1.AddShadowRequest {
	return &ampledgerv1.AddShadowRequest{Conductor: "pack", Name: name, Plugin: plugin, Settings: swapRequest(plugin, amperes).GetSettings()}
}

// TestShadowIsComparedAndPromoted follows a shadow from its start to its taking over, and back.
func TestShadowIsComparedAndPromoted(t *testing.T) {
	rig := servicetest.New(t, servicetest.Retained)
	client := ampledgerv1.NewEstimatorServiceClient(rig.Connect())
	rig.Feed("adc0", 20)
	swap(t, client, swapRequest("fixed", 2))
	added, err := client.AddShadow(t.Context(), shadowRequest("mine", "fixed", 5))
	if err != nil || added.GetGeneration() != 2 {
		t.Fatal(added, err)
	}
	rig.Feed("adc0", 100)
	var compared []*ampledgerv1.EstimatorComparison
	for range 10_000 { // the estimators answer beside the readings
		response, err := client.CompareEstimators(t.Context(), &ampledgerv1.CompareEstimatorsRequest{Conductor: "pack"})
		if err != nil {
			t.Fatal(err)
		}
		if compared = response.GetComparisons(); compared[0].GetAnsweredCount() == 12 && compared[1].GetAnsweredCount() == 12 {
			break
		}
	}
	if len(compared) != 2 || compared[0].GetShadow() != "" || compared[1].GetShadow() != "mine" || compared[1].GetPlugin() != "fixed" {
		t.Fatalf("compared: %v", compared)
	}
	of := compared[1].GetChannels()[0]
	if of.GetChannel() != "shunt" || of.GetSummaryCount() != 12 || of.GetMeanDifferenceAmperes() != 3 || of.GetOffsetAmperes() != 5 || of.GetChargeDifferenceCoulombs() >= 0 {
		t.Errorf("on the channel: %v", of)
	}
	steps, last := swap(t, client, &ampledgerv1.SwapEstimatorRequest{Conductor: "pack", Shadow: "mine"})
	if !cmp.Equal(steps, []ampledgerv1.SwapStep{swapped}) || last.GetGeneration() != 2 || last.GetAtSequence()["adc0"] != 120 {
		t.Errorf("promoted: %v", last)
	}
	// The one before knows all there was to know; it is in force with the first answer it gives to something new.
	steps, err = fedUntil(t, rig, func(context.Context) (steps []ampledgerv1.SwapStep, err error) {
		steps, last = swap(t, client, &ampledgerv1.SwapEstimatorRequest{Conductor: "pack", Revert: true})
		return steps, nil
	})
	if err != nil || !cmp.Equal(steps, []ampledgerv1.SwapStep{starting, configured, warming, swapped}) || last.GetGeneration() != 3 {
		t.Errorf("reverted: %v %v", steps, last)
	}
}

// TestSwapThroughTheShadow lets a candidate take over after its time in the shadow only if it agrees with the one in force: each is uncertain by
// 0.5 A, together by 0.71 A.
func TestSwapThroughTheShadow(t *testing.T) {
	for name, c := range map[string]struct {
		amperes, most float64
		want          []ampledgerv1.SwapStep
	}{
		"it agrees":               {3, 2, []ampledgerv1.SwapStep{starting, configured, warming, shadowing, swapped}},
		"it does not":             {4, 2, []ampledgerv1.SwapStep{starting, configured, warming, shadowing, failed}},
		"nobody asks it to agree": {40, 0, []ampledgerv1.SwapStep{starting, configured, warming, shadowing, swapped}},
	} {
		t.Run(name, func(t *testing.T) {
			rig := servicetest.New(t, servicetest.Retained)
			client := ampledgerv1.NewEstimatorServiceClient(rig.Connect())
			rig.Feed("adc0", 20)
			swap(t, client, swapRequest("fixed", 2))
			request := swapRequest("fixed", c.amperes)
			request.ShadowNanos, request.MostDeviationsRatio = 1e6, c.most
			steps, last := swap(t, client, request)
			if !cmp.Equal(steps, c.want) {
				t.Errorf("steps %v, want %v: %s", steps, c.want, last.GetReason())
			}
			response, err := client.CompareEstimators(t.Context(), &ampledgerv1.CompareEstimatorsRequest{Conductor: "pack"})
			if err != nil || len(response.GetComparisons()) != 1 {
				t.Errorf("left beside the one in force: %v %v", response, err)
			}
		})
	}
}

func TestShadowRefused(t *testing.T) {
	rig := servicetest.New(t, servicetest.Retained)
	client := ampledgerv1.NewEstimatorServiceClient(rig.Connect())
	rig.Feed("adc0", 20)
	swap(t, client, swapRequest("fixed", 2))
	add := func(request *ampledgerv1.AddShadowRequest) error {
		_, err := client.AddShadow(t.Context(), request)
		return err
	}
	if err := add(shadowRequest("mine", "fixed", 1)); err != nil {
		t.Fatal(err)
	}
	unknown := shadowRequest("a", "fixed", 1)
	unknown.Conductor = "other"
	refused(t, add(unknown), codes.NotFound, "CONDUCTOR_UNKNOWN", "")
	refused(t, add(shadowRequest("", "fixed", 1)), codes.InvalidArgument, "NAME_INVALID", "name")
	refused(t, add(shadowRequest("a b", "fixed", 1)), codes.InvalidArgument, "NAME_INVALID", "name")
	refused(t, add(shadowRequest("a", "nothing", 1)), codes.InvalidArgument, "PLUGIN_UNKNOWN", "plugin")
	refused(t, add(shadowRequest("mine", "fixed", 1)), codes.AlreadyExists, "SHADOW_TAKEN", "")
	refused(t, add(shadowRequest("a", "dead", 1)), codes.FailedPrecondition, "ESTIMATOR_FAILED", "")
	refused(t, add(shadowRequest("a", "dies", 1)), codes.FailedPrecondition, "ESTIMATOR_FAILED", "")
	_, err := client.RemoveShadow(t.Context(), &ampledgerv1.RemoveShadowRequest{Conductor: "pack", Name: "a"})
	refused(t, err, codes.NotFound, "SHADOW_UNKNOWN", "")
	from, to := int64(2), int64(1)
	_, err = client.CompareEstimators(t.Context(), &ampledgerv1.CompareEstimatorsRequest{Conductor: "pack", FromWallNanos: &from, ToWallNanos: &to})
	refused(t, err, codes.InvalidArgument, "SPAN_REVERSED", "to_wall_nanos")
	for _, c := range []struct {
		request       *ampledgerv1.SwapEstimatorRequest
		code          codes.Code
		reason, field string
	}{
		{&ampledgerv1.SwapEstimatorRequest{Conductor: "pack", Shadow: "a"}, codes.NotFound, "SHADOW_UNKNOWN", ""},
		{&ampledgerv1.SwapEstimatorRequest{Conductor: "pack", Shadow: "mine", Revert: true}, codes.InvalidArgument, "SEVERAL_WAYS", "plugin"},
		{&ampledgerv1.SwapEstimatorRequest{Conductor: "pack", Revert: true}, codes.FailedPrecondition, "NO_PREVIOUS", ""},
		{&ampledgerv1.SwapEstimatorRequest{Conductor: "pack", Plugin: "fixed", ShadowNanos: -1}, codes.InvalidArgument, "SHADOW_TIME_INVALID", "shadow_nanos"},
		{&ampledgerv1.SwapEstimatorRequest{Conductor: "pack", Plugin: "fixed", MostDeviationsRatio: math.NaN()}, codes.InvalidArgument, "SHADOW_TIME_INVALID", "shadow_nanos"},
	} {
		stream, err := client.SwapEstimator(t.Context(), c.request)
		if err == nil {
			_, err = stream.Recv()
		}
		refused(t, err, c.code, c.reason, c.field)
	}
	if _, err := client.RemoveShadow(t.Context(), &ampledgerv1.RemoveShadowRequest{Conductor: "pack", Name: "mine"}); err != nil {
		t.Error(err)
	}
}
