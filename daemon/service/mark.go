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

// longestWord is how many bytes an operator's name or note may have.
const longestWord = 1000

// PostMark implements the call.
func (s *chargeServer) PostMark(ctx context.Context, request *ampledgerv1.PostMarkRequest) (*ampledgerv1.PostMarkResponse, error) {
	c, err := s.backend.conductor(request.GetConductor())
	if err != nil {
		return nil, err
	}
	if err := checkMark(request); err != nil {
		return nil, err
	}
	marked, err := c.Mark(ctx, pipeline.Mark{
		StoredCoulombs: request.GetStoredCoulombs(), UncertaintyCoulombs: request.GetStandardUncertaintyCoulombs(),
		Wall: request.GetWallNanos(), By: request.GetBy(), Note: request.GetNote(),
	})
	if err != nil {
		return nil, markStatus(err)
	}
	if err := s.durable(ctx); err != nil {
		return nil, err
	}
	response := &ampledgerv1.PostMarkResponse{WallNanos: marked.Wall, CarriedCoulombs: marked.Carried, Notes: marked.Notes}
	for _, move := range marked.Moves {
		response.Moves = append(response.Moves, &ampledgerv1.BalanceMove{
			Channel: move.Lane.Name, AdjustmentMicrocoulombs: move.Microcoulombs,
			UncertaintyBeforeCoulombs: move.Before, UncertaintyAfterCoulombs: move.Now,
		})
	}
	return response, nil
}

// durableWithin is the longest a mark waits for the disk.
const durableWithin = 10 * time.Second

// durable waits until what was posted is on disk: who says what a pack holds says it once, and wants it kept.
func (s *chargeServer) durable(ctx context.Context) error {
	if s.backend.Durable == nil {
		return nil
	}
	ctx, cancel := context.WithTimeout(ctx, durableWithin)
	defer cancel()
	if err := s.backend.Durable(ctx); err != nil {
		return refuse(codes.Unavailable, "", "MARK_NOT_ON_DISK", "the mark is taken but not on disk yet, so do not post it again: "+err.Error())
	}
	return nil
}

func checkMark(request *ampledgerv1.PostMarkRequest) error {
	const most = 1e12 // coulombs: no pack stores a thousandth of it
	switch u := request.GetStandardUncertaintyCoulombs(); {
	case !(u > 0 && u <= most):
		return refuse(codes.InvalidArgument, "standard_uncertainty_coulombs", "UNCERTAINTY_NOT_POSITIVE",
			"the mark's standard uncertainty must be above 0 and finite: nothing is known without error")
	case !(math.Abs(request.GetStoredCoulombs()) <= most):
		return refuse(codes.InvalidArgument, "stored_coulombs", "CHARGE_NOT_FINITE", "the stored charge is no figure a pack can have")
	case request.WallNanos != nil && request.GetWallNanos() <= 0:
		return refuse(codes.InvalidArgument, "wall_nanos", "TIME_NOT_POSITIVE", "the mark's time lies before 1970: leave it out for now")
	}
	return checkWords(request.GetBy(), request.GetNote())
}

func checkWords(by, note string) error {
	if len(by) > longestWord {
		return refuse(codes.InvalidArgument, "by", "TOO_LONG", "the name has more than 1000 bytes")
	}
	if len(note) > longestWord {
		return refuse(codes.InvalidArgument, "note", "TOO_LONG", "the note has more than 1000 bytes")
	}
	return nil
}

// markStatus maps what a mark may be refused for.
func markStatus(err error) error {
	for _, each := range []struct {
		is            error
		code          codes.Code
		field, reason string
	}{
		{pipeline.ErrMarkFuture, codes.InvalidArgument, "wall_nanos", "MARK_IN_FUTURE"},
		{pipeline.ErrMarkOld, codes.OutOfRange, "", "MARK_TOO_OLD"},
		{pipeline.ErrMarkOrder, codes.OutOfRange, "", "MARK_OUT_OF_ORDER"},
		{pipeline.ErrMarkGap, codes.OutOfRange, "", "READINGS_MISSING"},
		{pipeline.ErrMarkSilent, codes.Unavailable, "", "NO_READINGS"},
		{pipeline.ErrMarkBusy, codes.ResourceExhausted, "", "MARKS_WAIT"},
		{pipeline.ErrNoEstimator, codes.FailedPrecondition, "", "NO_ESTIMATOR"},
		{pipeline.ErrUnheard, codes.DeadlineExceeded, "", "ESTIMATOR_SILENT"},
	} {
		if errors.Is(err, each.is) {
			return refuse(each.code, each.field, each.reason, err.Error())
		}
	}
	return statusOf(err)
}
