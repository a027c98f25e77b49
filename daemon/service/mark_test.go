package service_test

import (
	"context"
	"math"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"

	"github.com/ampledger/ampledger/daemon/service/servicetest"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// fedUntil feeds summaries until a call has answered.
func fedUntil[T any](t *testing.T, rig *servicetest.Rig, call func(context.Context) (T, error)) (answer T, err error) {
	t.Helper()
	done := make(chan struct{})
	go func() {
		defer close(done)
		answer, err = call(t.Context())
	}()
	for {
		select {
		case <-done:
			return answer, err
		default:
			rig.Feed("adc0", 10)
		}
	}
}

func TestMarkAndZero(t *testing.T) {
	rig := servicetest.New(t, servicetest.Retained)
	connection := rig.Connect()
	rig.Feed("adc0", 20)
	swap(t, ampledgerv1.NewEstimatorServiceClient(connection), swapRequest("fixed", 2))
	charge := ampledgerv1.NewChargeServiceClient(connection)
	marked, err := fedUntil(t, rig, func(ctx context.Context) (*ampledgerv1.PostMarkResponse, error) {
		return charge.PostMark(ctx, &ampledgerv1.PostMarkRequest{Conductor: "pack", StoredCoulombs: 100, StandardUncertaintyCoulombs: 1, By: "A. Meter"})
	})
	if err != nil {
		t.Fatal(err)
	}
	if marked.GetWallNanos() == 0 || marked.GetCarriedCoulombs() != 0 || len(marked.GetMoves()) != 2 {
		t.Errorf("marked: %v", marked)
	}
	commissioning := ampledgerv1.NewCommissioningServiceClient(connection)
	zero, err := fedUntil(t, rig, func(ctx context.Context) (*ampledgerv1.CaptureZeroResponse, error) {
		return commissioning.CaptureZero(ctx, &ampledgerv1.CaptureZeroRequest{Conductor: "pack", DurationNanos: 5e9})
	})
	if err != nil {
		t.Fatal(err)
	}
	// The scans count up by an ampere each, so the mean is that of a whole number of summaries: half an ampere between two of them.
	z := zero.GetChannels()[0]
	if z.GetChannel() != "shunt" || z.GetReadingCount()%10 != 0 || z.GetReadingCount() < 40 || math.Abs(math.Mod(z.GetMeanAmperes(), 1)-0.5) > 1e-9 {
		t.Errorf("zero: %v", zero)
	}
	if z.GetOffsetBeforeAmperes() != 2 || z.GetOffsetAfterAmperes() != 2 || z.GetOffsetAfterUncertaintyAmperes() != 0.5 {
		t.Errorf("offsets: %v", z)
	}
}

func TestMarkAndZeroRefused(t *testing.T) {
	rig := servicetest.New(t, servicetest.Retained)
	connection := rig.Connect()
	charge, commissioning := ampledgerv1.NewChargeServiceClient(connection), ampledgerv1.NewCommissioningServiceClient(connection)
	mark := func(change func(*ampledgerv1.PostMarkRequest)) error {
		request := &ampledgerv1.PostMarkRequest{Conductor: "pack", StoredCoulombs: 1, StandardUncertaintyCoulombs: 1}
		change(request)
		_, err := charge.PostMark(t.Context(), request)
		return err
	}
	zero := func(change func(*ampledgerv1.CaptureZeroRequest)) error {
		request := &ampledgerv1.CaptureZeroRequest{Conductor: "pack", DurationNanos: 1e9}
		change(request)
		_, err := commissioning.CaptureZero(t.Context(), request)
		return err
	}
	before := int64(-1)
	long := strings.Repeat("x", 1001)
	for name, c := range map[string]struct {
		err    error
		code   codes.Code
		reason string
		field  string
	}{
		"no such conductor":           {mark(func(r *ampledgerv1.PostMarkRequest) { r.Conductor = "other" }), codes.NotFound, "CONDUCTOR_UNKNOWN", ""},
		"no uncertainty":              {mark(func(r *ampledgerv1.PostMarkRequest) { r.StandardUncertaintyCoulombs = 0 }), codes.InvalidArgument, "UNCERTAINTY_NOT_POSITIVE", "standard_uncertainty_coulombs"},
		"uncertainty is none":         {mark(func(r *ampledgerv1.PostMarkRequest) { r.StandardUncertaintyCoulombs = math.NaN() }), codes.InvalidArgument, "UNCERTAINTY_NOT_POSITIVE", "standard_uncertainty_coulombs"},
		"infinite charge":             {mark(func(r *ampledgerv1.PostMarkRequest) { r.StoredCoulombs = math.Inf(1) }), codes.InvalidArgument, "CHARGE_NOT_FINITE", "stored_coulombs"},
		"before 1970":                 {mark(func(r *ampledgerv1.PostMarkRequest) { r.WallNanos = &before }), codes.InvalidArgument, "TIME_NOT_POSITIVE", "wall_nanos"},
		"long name":                   {mark(func(r *ampledgerv1.PostMarkRequest) { r.By = long }), codes.InvalidArgument, "TOO_LONG", "by"},
		"no estimator":                {mark(func(*ampledgerv1.PostMarkRequest) {}), codes.FailedPrecondition, "NO_ESTIMATOR", ""},
		"zero: no such conductor":     {zero(func(r *ampledgerv1.CaptureZeroRequest) { r.Conductor = "other" }), codes.NotFound, "CONDUCTOR_UNKNOWN", ""},
		"zero: no duration":           {zero(func(r *ampledgerv1.CaptureZeroRequest) { r.DurationNanos = 0 }), codes.InvalidArgument, "DURATION_OUT_OF_RANGE", "duration_nanos"},
		"zero: longer than an hour":   {zero(func(r *ampledgerv1.CaptureZeroRequest) { r.DurationNanos = 3601e9 }), codes.InvalidArgument, "DURATION_OUT_OF_RANGE", "duration_nanos"},
		"zero: a note without an end": {zero(func(r *ampledgerv1.CaptureZeroRequest) { r.Note = long }), codes.InvalidArgument, "TOO_LONG", "note"},
	} {
		t.Run(name, func(t *testing.T) { refused(t, c.err, c.code, c.reason, c.field) })
	}
}
