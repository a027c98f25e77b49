package service

import (
	"context"
	"fmt"

	"google.golang.org/grpc/codes"

	"github.com/ampledger/ampledger/daemon/metrology/zero"
	"github.com/ampledger/ampledger/daemon/pipeline"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// conversionChanged is why figures are not kept that were read while the device was described anew.
const conversionChanged = "the conversion of the raw values changed while they were read: capture anew"

// basesOf gives how raw values are converted, by channel; a channel that is not bound is not there.
func basesOf(c *Conductor) map[string]string {
	bases := map[string]string{}
	for _, lane := range c.Lanes() {
		if basis, err := c.Basis(lane.Name); err == nil {
			bases[lane.Name] = basis
		}
	}
	return bases
}

// keepZeros stores what each channel read in a rest, if it was steady or that is to be forced, and says in the response what became of it. Before are the bases at
// its beginning.
func (s *commissioningServer) keepZeros(ctx context.Context, c *Conductor, before map[string]string, request *ampledgerv1.CaptureZeroRequest, captured *pipeline.Captured, response *ampledgerv1.CaptureZeroResponse) error {
	now := basesOf(c)
	for i := range captured.Zeros {
		to := response.GetChannels()[i]
		if to.Found = zeroFound(&captured.Zeros[i], captured); to.GetFound() == nil {
			to.Refusal = captured.Zeros[i].NoFind.Error()
			continue
		}
		to.Found.Basis = now[to.GetChannel()]
		if was, known := before[to.GetChannel()]; known && was != to.GetFound().GetBasis() {
			to.Refusal = conversionChanged
			continue
		}
		if !to.GetFound().GetSteady() {
			if !request.GetForce() {
				to.Refusal = to.GetFound().GetReason()
				continue
			}
			to.Found.Forced = true
		}
		stored, err := s.keep(ctx, &ampledgerv1.CommissioningRecord{
			Conductor: request.GetConductor(), Channel: to.GetChannel(), By: request.GetBy(), Note: request.GetNote(),
			Body: &ampledgerv1.CommissioningRecord_Zero{Zero: to.GetFound()},
		})
		if err != nil {
			return err
		}
		to.RecordSequence = stored.GetRecordSequence()
	}
	return nil
}

// zeroFound writes down what the readings of a rest say; nil = nothing.
func zeroFound(of *pipeline.Zero, captured *pipeline.Captured) *ampledgerv1.ZeroFound {
	z := of.Found
	if z == nil {
		return nil
	}
	found := &ampledgerv1.ZeroFound{
		FromWallNanos: captured.From, ToWallNanos: captured.To, ReadingCount: uint64(z.Count * of.Block), BlockSize: uint64(of.Block),
		MeanAmperes: z.MeanAmperes, StandardUncertaintyAmperes: z.StandardUncertaintyAmperes, TypeAAmperes: z.TypeAAmperes,
		RoundingAmperes: z.RoundingAmperes, EffectiveCount: z.EffectiveCount, DegreesOfFreedomCount: z.DegreesOfFreedom, DeviationAmperes: z.DeviationAmperes,
		Steady: z.Verdict.Stable, Reason: z.Verdict.Reason,
		TrendAmperesPerSecond: z.Verdict.TrendAmperesPerSecond, TrendUncertaintyAmperesPerSecond: z.Verdict.TrendUncertainty,
		InForceSequence: of.Record,
	}
	if of.CelsiusKnown {
		found.TemperatureCelsius = &of.Celsius
	}
	return found
}

// FitZeroDrift implements the call.
func (s *commissioningServer) FitZeroDrift(ctx context.Context, request *ampledgerv1.FitZeroDriftRequest) (*ampledgerv1.FitZeroDriftResponse, error) {
	c, _, err := s.channel(request.GetConductor(), request.GetChannel())
	if err != nil {
		return nil, err
	}
	if err := checkWords(request.GetBy(), request.GetNote()); err != nil {
		return nil, err
	}
	if !isNumber(request.GetReferenceCelsius()) {
		return nil, refuse(codes.InvalidArgument, "reference_celsius", "NOT_FINITE", "the reference temperature is no number")
	}
	now, err := footingNow(c, request.GetChannel())
	if err != nil {
		return nil, err
	}
	zeros, err := s.recordsOf(ctx, c, request.GetChannel(), "zero", request.GetZeroSequence(), now)
	if err != nil {
		return nil, err
	}
	drift := &ampledgerv1.ZeroDrift{ReferenceCelsius: request.GetReferenceCelsius(), InForceSequence: now.change, Basis: now.basis}
	if err := fitDrift(drift, zeros); err != nil {
		return nil, refuse(codes.InvalidArgument, "zero_sequence", "NO_DRIFT", err.Error())
	}
	stored, err := s.keep(ctx, &ampledgerv1.CommissioningRecord{
		Conductor: request.GetConductor(), Channel: request.GetChannel(), By: request.GetBy(), Note: request.GetNote(),
		RefersToSequence: drift.GetZeroSequence()[len(drift.GetZeroSequence())-1], Body: &ampledgerv1.CommissioningRecord_Drift{Drift: drift},
	})
	if err != nil {
		return nil, err
	}
	return &ampledgerv1.FitZeroDriftResponse{Record: stored}, nil
}

// fitDrift fills a drift with what zeros say.
func fitDrift(drift *ampledgerv1.ZeroDrift, zeros []*ampledgerv1.CommissioningRecord) error {
	var at []zero.At
	for _, record := range zeros {
		z := record.GetZero()
		if z.TemperatureCelsius == nil {
			return fmt.Errorf("record %d has no temperature: the channel has none wired, so its zero cannot follow one", record.GetRecordSequence())
		}
		if z.GetStandardUncertaintyAmperes() == 0 {
			return fmt.Errorf("record %d has an uncertainty of 0, since all its readings are the same: nothing weighs it", record.GetRecordSequence())
		}
		at = append(at, zero.At{Celsius: z.GetTemperatureCelsius(), Amperes: z.GetMeanAmperes(), UncertaintyAmperes: z.GetStandardUncertaintyAmperes()})
		drift.ZeroSequence = append(drift.ZeroSequence, record.GetRecordSequence())
	}
	d, err := zero.FitDrift(at, drift.GetReferenceCelsius())
	if err != nil {
		return err
	}
	drift.OffsetAmperes, drift.OffsetUncertaintyAmperes = d.OffsetAmperes, d.OffsetUncertaintyAmperes
	drift.SlopeAmperesPerKelvin, drift.SlopeUncertaintyAmperesPerKelvin = d.SlopeAmperesPerKelvin, d.SlopeUncertainty
	drift.CorrelationRatio, drift.EnlargedRatio, drift.LowestCelsius, drift.HighestCelsius = d.Correlation, d.Enlarged, d.LowestCelsius, d.HighestCelsius
	return nil
}
