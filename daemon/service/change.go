package service

import (
	"context"
	"errors"
	"fmt"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"github.com/ampledger/ampledger/daemon/pipeline"
	"github.com/ampledger/ampledger/daemon/sensor"
	"github.com/ampledger/ampledger/daemon/store"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// Changes are the kinds of records that change what is in force.
var Changes = []string{"applied", "reverted"}

// CorrectionOf gives what a change put in force, in the form that a conductor takes.
func CorrectionOf(record *ampledgerv1.CommissioningRecord) pipeline.Correction {
	change, inForce := changeOf(record)
	if inForce == 0 {
		return pipeline.Uncorrected()
	}
	return pipeline.Correction{
		Correction: correctionFrom(change.GetAfter()), Record: inForce, Expires: change.GetExpiresWallNanos(), Basis: change.GetBasis(),
		Name: store.RecordName(record),
	}
}

// changeOf gives the change and the applied record that is in force by it.
func changeOf(record *ampledgerv1.CommissioningRecord) (change *ampledgerv1.Change, inForce uint64) {
	if applied := record.GetApplied(); applied != nil {
		return applied, record.GetRecordSequence()
	}
	return record.GetReverted(), record.GetReverted().GetInForceAfterSequence()
}

func correctionFrom(c *ampledgerv1.Correction) sensor.Correction {
	to := sensor.NoCorrection
	if len(c.GetCoefficientValues()) > 0 {
		to.Coefficients = [4]float64{}
		copy(to.Coefficients[:], c.GetCoefficientValues())
	}
	if c != nil {
		to.PerKelvin, to.ReferenceCelsius = c.GetSlopeAmperesPerKelvin(), c.GetReferenceCelsius()
		to.Least, to.Greatest = c.GetLeastAmperes(), c.GetGreatestAmperes()
		to.ZeroAmperes, to.GainRatio = c.ZeroUncertaintyAmperes, c.GainUncertaintyRatio
	}
	return to
}

func correctionTo(c sensor.Correction) *ampledgerv1.Correction {
	return &ampledgerv1.Correction{
		CoefficientValues: c.Coefficients[:], SlopeAmperesPerKelvin: c.PerKelvin, ReferenceCelsius: c.ReferenceCelsius,
		ZeroUncertaintyAmperes: c.ZeroAmperes, GainUncertaintyRatio: c.GainRatio, LeastAmperes: c.Least, GreatestAmperes: c.Greatest,
	}
}

// ApplyCalibration implements the call.
func (s *commissioningServer) ApplyCalibration(ctx context.Context, request *ampledgerv1.ApplyCalibrationRequest) (*ampledgerv1.ApplyCalibrationResponse, error) {
	if err := checkApply(request); err != nil {
		return nil, err
	}
	if !s.changing.TryLock() {
		return nil, refuse(codes.Aborted, "", "CHANGE_UNDER_WAY", "another change is being applied or reverted")
	}
	defer s.changing.Unlock()
	record, err := s.record(ctx, request.GetRecordSequence())
	if err != nil {
		return nil, err
	}
	c, lane, err := s.channel(record.GetConductor(), record.GetChannel())
	if err != nil {
		return nil, err
	}
	found, err := findingOf(record)
	if err == nil {
		err = found.check(request)
	}
	if err != nil {
		return nil, err
	}
	change, err := s.inForceOn(ctx, c, lane.Name)
	if err != nil {
		return nil, err
	}
	zero, gain := c.ConfiguredUncertainty(lane.Name)
	if err := found.onto(change, request, zero, gain); err != nil {
		return nil, err
	}
	stored, from, err := s.put(ctx, c, &ampledgerv1.CommissioningRecord{
		Conductor: c.Name(), Channel: lane.Name, By: request.GetBy(), Note: request.GetNote(), RefersToSequence: record.GetRecordSequence(),
		Body: &ampledgerv1.CommissioningRecord_Applied{Applied: change},
	}, fmt.Sprintf("%s of record %d applied", store.RecordKind(record), record.GetRecordSequence()))
	if err != nil {
		return nil, err
	}
	return &ampledgerv1.ApplyCalibrationResponse{Record: stored, FromSequence: from}, nil
}

func checkApply(request *ampledgerv1.ApplyCalibrationRequest) error {
	for field, u := range map[string]*float64{"zero_uncertainty_amperes": request.ZeroUncertaintyAmperes, "gain_uncertainty_ratio": request.GainUncertaintyRatio} {
		if u != nil && !(*u >= 0 && isNumber(*u)) {
			return refuse(codes.InvalidArgument, field, "UNCERTAINTY_NEGATIVE", "the uncertainty must be finite and not negative")
		}
	}
	if expires := request.GetExpiresWallNanos(); expires != 0 && expires <= time.Now().UnixNano() {
		return refuse(codes.InvalidArgument, "expires_wall_nanos", "EXPIRED", "the date at which it expires has passed")
	}
	return checkWords(request.GetBy(), request.GetNote())
}

// RevertCalibration implements the call.
func (s *commissioningServer) RevertCalibration(ctx context.Context, request *ampledgerv1.RevertCalibrationRequest) (*ampledgerv1.RevertCalibrationResponse, error) {
	if err := checkWords(request.GetBy(), request.GetNote()); err != nil {
		return nil, err
	}
	c, lane, err := s.channel(request.GetConductor(), request.GetChannel())
	if err != nil {
		return nil, err
	}
	if !s.changing.TryLock() {
		return nil, refuse(codes.Aborted, "", "CHANGE_UNDER_WAY", "another change is being applied or reverted")
	}
	defer s.changing.Unlock()
	change, err := s.inForceOn(ctx, c, lane.Name)
	if err != nil {
		return nil, err
	}
	if change.GetInForceBeforeSequence() == 0 {
		return nil, refuse(codes.FailedPrecondition, "", "NOTHING_IN_FORCE", "no change is in force on channel "+quote(lane.Name)+": it reads as it is configured")
	}
	if err := s.takeBack(ctx, change); err != nil {
		return nil, err
	}
	stored, from, err := s.put(ctx, c, &ampledgerv1.CommissioningRecord{
		Conductor: c.Name(), Channel: lane.Name, By: request.GetBy(), Note: request.GetNote(), RefersToSequence: change.GetInForceBeforeSequence(),
		Body: &ampledgerv1.CommissioningRecord_Reverted{Reverted: change},
	}, fmt.Sprintf("change of record %d reverted to %s", change.GetInForceBeforeSequence(), changeName(change.GetInForceAfterSequence())))
	if err != nil {
		return nil, err
	}
	return &ampledgerv1.RevertCalibrationResponse{Record: stored, FromSequence: from}, nil
}

// takeBack fills in what was in force before the change that is in force now.
func (s *commissioningServer) takeBack(ctx context.Context, change *ampledgerv1.Change) error {
	applied, err := s.record(ctx, change.GetInForceBeforeSequence())
	if err != nil {
		return err
	}
	change.After, change.InForceAfterSequence = applied.GetApplied().GetBefore(), applied.GetApplied().GetInForceBeforeSequence()
	change.ExpiresWallNanos, err = s.expiryOf(ctx, change.GetInForceAfterSequence())
	return err
}

// inForceOn begins a change of what is in force on a channel. What its conductor does not have in force is not: the conversion is another than it was found on.
func (s *commissioningServer) inForceOn(ctx context.Context, c *Conductor, channel string) (*ampledgerv1.Change, error) {
	basis, err := c.Basis(channel)
	if err != nil {
		return nil, changeStatus(err)
	}
	change := &ampledgerv1.Change{Before: correctionTo(sensor.NoCorrection), Basis: basis}
	if c.InForce(channel) == 0 {
		return change, nil
	}
	record, err := s.backend.Records.NewestRecord(ctx, store.RecordFilter{Conductor: c.Name(), Channel: channel, Kinds: Changes})
	if err != nil {
		return nil, statusOf(err)
	}
	was, inForce := changeOf(record)
	change.Before, change.InForceBeforeSequence = was.GetAfter(), inForce
	return change, nil
}

// put stores a change and puts it in force. It is stored only when nothing is in the way; one that cannot be put in force even so is taken back by a record that
// says so.
func (s *commissioningServer) put(ctx context.Context, c *Conductor, record *ampledgerv1.CommissioningRecord, what string) (*ampledgerv1.CommissioningRecord, uint64, error) {
	if by := record.GetBy(); by != "" {
		what += ", says " + by
	}
	change, _ := changeOf(record)
	var stored *ampledgerv1.CommissioningRecord
	from, err := c.Commission(ctx, record.GetChannel(), pipeline.Correction{Correction: correctionFrom(change.GetAfter())}, func(correction *pipeline.Correction) (string, error) {
		kept, err := s.keep(ctx, record)
		if err != nil {
			return "", err
		}
		stored, *correction = kept, CorrectionOf(kept)
		return store.RecordName(kept) + ": " + what, nil
	})
	switch {
	case err != nil && stored != nil:
		return nil, 0, errors.Join(changeStatus(err), s.undo(ctx, stored, err))
	case err != nil:
		return nil, 0, changeStatus(err)
	}
	if s.backend.Durable != nil {
		if err := s.backend.Durable(ctx); err != nil {
			return nil, 0, refuse(codes.Unavailable, "", "ENTRY_NOT_ON_DISK", "the change is in force, but its entry in the ledger is not on disk yet: "+err.Error())
		}
	}
	return stored, from, nil
}

// undo records that a change was not put in force after all.
func (s *commissioningServer) undo(ctx context.Context, stored *ampledgerv1.CommissioningRecord, why error) error {
	change, _ := changeOf(stored)
	back := &ampledgerv1.Change{
		Before: change.GetAfter(), After: change.GetBefore(), InForceAfterSequence: change.GetInForceBeforeSequence(), Basis: change.GetBasis(),
	}
	ctx = context.WithoutCancel(ctx)
	expires, unread := s.expiryOf(ctx, back.GetInForceAfterSequence())
	back.ExpiresWallNanos = expires
	_, err := s.keep(ctx, &ampledgerv1.CommissioningRecord{
		Conductor: stored.GetConductor(), Channel: stored.GetChannel(), RefersToSequence: stored.GetRecordSequence(),
		Note: "it was not put in force: " + why.Error(), Body: &ampledgerv1.CommissioningRecord_Reverted{Reverted: back},
	})
	return errors.Join(unread, err)
}

// expiryOf gives the date at which what an applied record put in force should be found anew; 0 = never, or there is no such record since the sequence is 0.
func (s *commissioningServer) expiryOf(ctx context.Context, applied uint64) (int64, error) {
	if applied == 0 {
		return 0, nil
	}
	record, err := s.record(ctx, applied)
	return record.GetApplied().GetExpiresWallNanos(), err
}

// changeStatus maps what a change may be refused for; what is a refusal already stays as it is.
func changeStatus(err error) error {
	if _, refusal := status.FromError(err); refusal {
		return err
	}
	for _, each := range []struct {
		is     error
		code   codes.Code
		reason string
	}{
		{pipeline.ErrWindowBusy, codes.Aborted, "WINDOW_OPEN"},
		{pipeline.ErrMeasureBusy, codes.Aborted, "MEASUREMENT_OPEN"},
		{pipeline.ErrCorrection, codes.FailedPrecondition, "NOT_CORRECTABLE"},
		{pipeline.ErrLedgerFull, codes.ResourceExhausted, "LEDGER_FULL"},
		{pipeline.ErrChannelUnknown, codes.NotFound, "CHANNEL_UNKNOWN"},
	} {
		if errors.Is(err, each.is) {
			return refuse(each.code, "", each.reason, err.Error())
		}
	}
	return statusOf(err)
}
