package service

import (
	"context"
	"errors"
	"math"
	"time"

	"google.golang.org/grpc/codes"

	"github.com/ampledger/ampledger/daemon/pipeline"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// AddCalibrationPoint implements the call.
func (s *commissioningServer) AddCalibrationPoint(ctx context.Context, request *ampledgerv1.AddCalibrationPointRequest) (*ampledgerv1.AddCalibrationPointResponse, error) {
	c, _, err := s.channel(request.GetConductor(), request.GetChannel())
	if err != nil {
		return nil, err
	}
	if err := s.checkPoint(request); err != nil {
		return nil, err
	}
	before, err := footingNow(c, request.GetChannel())
	if err != nil {
		return nil, err
	}
	point := &ampledgerv1.CalibrationPoint{
		ReferenceAmperes: request.GetReferenceAmperes(), ReferenceUncertaintyAmperes: request.GetReferenceUncertaintyAmperes(),
		IndicatedAmperes: request.GetIndicatedAmperes(), IndicatedUncertaintyAmperes: request.GetIndicatedUncertaintyAmperes(),
		Sweep: request.GetSweep(), ReferenceChannel: request.GetReferenceChannel(), InForceSequence: before.change, Basis: before.basis,
	}
	if request.IndicatedAmperes == nil {
		if err := measurePoint(ctx, c, request, point); err != nil {
			return nil, err
		}
		if after, err := footingNow(c, request.GetChannel()); err != nil || after != before {
			return nil, refuse(codes.Aborted, "", "CONVERSION_CHANGED", conversionChanged)
		}
	}
	stored, err := s.keep(ctx, &ampledgerv1.CommissioningRecord{
		Conductor: request.GetConductor(), Channel: request.GetChannel(), By: request.GetBy(), Note: request.GetNote(),
		Body: &ampledgerv1.CommissioningRecord_Point{Point: point},
	})
	if err != nil {
		return nil, err
	}
	return &ampledgerv1.AddCalibrationPointResponse{Record: stored}, nil
}

// checkPoint refuses what is no point.
func (s *commissioningServer) checkPoint(request *ampledgerv1.AddCalibrationPointRequest) error {
	measured, stated := request.IndicatedAmperes == nil, request.ReferenceAmperes != nil
	u := request.GetReferenceUncertaintyAmperes()
	refusals := []struct {
		is                  bool
		field, reason, text string
	}{
		{stated == (request.GetReferenceChannel() != ""), "reference_amperes", "REFERENCE_MISSING", "give the reference's amperes or the channel that is the reference, one of them"},
		{stated && !(u > 0 && isNumber(u)), "reference_uncertainty_amperes", "UNCERTAINTY_NOT_POSITIVE",
			"the reference's standard uncertainty is missing: it must be above 0 and finite, nothing is known without error"},
		{!isNumber(request.GetReferenceAmperes()), "reference_amperes", "NOT_FINITE", "the reference is no finite current"},
		{!isNumber(request.GetIndicatedAmperes()), "indicated_amperes", "NOT_FINITE", "the indication is no finite current"},
		{!(request.GetIndicatedUncertaintyAmperes() >= 0) || !isNumber(request.GetIndicatedUncertaintyAmperes()), "indicated_uncertainty_amperes", "UNCERTAINTY_NEGATIVE",
			"the indication's standard uncertainty must be finite and not negative"},
		{!measured && !stated, "indicated_amperes", "REFERENCE_MISSING", "an indication that is given needs a reference that is given"},
		{measured && !(request.GetDurationNanos() > 0 && time.Duration(request.GetDurationNanos()) <= longestWindow), "duration_nanos", "DURATION_OUT_OF_RANGE",
			"the time to measure must be longer than nothing and at most an hour"},
		{request.GetReferenceChannel() != "" && request.GetReferenceChannel() == request.GetChannel(), "reference_channel", "REFERENCE_IS_CHANNEL",
			"a channel cannot be its own reference"},
	}
	for _, r := range refusals {
		if r.is {
			return refuse(codes.InvalidArgument, r.field, r.reason, r.text)
		}
	}
	if request.GetReferenceChannel() != "" {
		if _, _, err := s.channel(request.GetConductor(), request.GetReferenceChannel()); err != nil {
			return err
		}
	}
	return checkWords(request.GetBy(), request.GetNote())
}

// measurePoint fills a point with what is read from now on.
func measurePoint(ctx context.Context, c *Conductor, request *ampledgerv1.AddCalibrationPointRequest, point *ampledgerv1.CalibrationPoint) error {
	channels := []string{request.GetChannel()}
	if request.GetReferenceChannel() != "" {
		channels = append(channels, request.GetReferenceChannel())
	}
	measured, err := c.Measure(ctx, channels, request.GetDurationNanos())
	if err != nil {
		return measureStatus(err)
	}
	of := measured[0]
	point.IndicatedAmperes, point.IndicatedUncertaintyAmperes = of.MeanAmperes, of.StandardUncertaintyAmperes
	point.ReadingCount, point.DurationNanos = uint64(of.Count), int64(math.Round(of.Seconds*1e9))
	if of.CelsiusKnown {
		point.TemperatureCelsius = &of.Celsius
	}
	if len(measured) == 1 {
		return nil
	}
	reference := measured[1]
	point.ReferenceAmperes, point.ReferenceUncertaintyAmperes = reference.MeanAmperes, reference.StandardUncertaintyAmperes
	point.CommonOffsetAmperes, point.CommonGainRatio = reference.ZeroAmperes, reference.GainRatio
	if !(reference.StandardUncertaintyAmperes > 0) {
		return refuse(codes.OutOfRange, "", "REFERENCE_WITHOUT_SCATTER",
			"all readings of the reference channel are the same, so nothing can be told of their uncertainty: state the reference instead")
	}
	return nil
}

// measureStatus maps what a measurement may fail for.
func measureStatus(err error) error {
	for _, each := range []struct {
		is     error
		code   codes.Code
		reason string
	}{
		{pipeline.ErrMeasureBusy, codes.Aborted, "MEASUREMENT_OPEN"},
		{pipeline.ErrMeasureFew, codes.OutOfRange, "TOO_FEW_READINGS"},
		{pipeline.ErrMeasureSilent, codes.Unavailable, "NO_READINGS"},
		{pipeline.ErrChannelUnknown, codes.NotFound, "CHANNEL_UNKNOWN"},
	} {
		if errors.Is(err, each.is) {
			return refuse(each.code, "", each.reason, err.Error())
		}
	}
	return statusOf(err)
}
