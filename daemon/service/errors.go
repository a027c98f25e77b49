package service

import (
	"context"
	"errors"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"github.com/ampledger/ampledger/daemon/pipeline"
	"github.com/ampledger/ampledger/daemon/rig"
	"github.com/ampledger/ampledger/daemon/store"
)

// domain is the ErrorInfo domain of all our errors.
const domain = "ampledger.v1"

// errStopping ends the streams of a daemon that stops; who gets it may come back.
var errStopping = refuse(codes.Unavailable, "", "STOPPING", "the daemon is stopping")

// refuse makes an error with a canonical code, a reason for programs and, for a field of the request, where it is.
func refuse(code codes.Code, field, reason, text string) error {
	s := status.New(code, text)
	info := &errdetails.ErrorInfo{Reason: reason, Domain: domain}
	detailed, err := s.WithDetails(info)
	if field != "" && code == codes.InvalidArgument {
		detailed, err = s.WithDetails(info, &errdetails.BadRequest{
			FieldViolations: []*errdetails.BadRequest_FieldViolation{{Field: field, Description: text}},
		})
	}
	if err != nil {
		return s.Err()
	}
	return detailed.Err()
}

// isInternal tells an error that statusOf knows nothing better of.
func isInternal(err error) bool { return status.Code(err) == codes.Internal }

// statusOf maps the errors of the rooms to canonical codes.
func statusOf(err error) error {
	switch {
	case err == nil:
		return nil
	case errors.Is(err, store.ErrNoEntries):
		return refuse(codes.OutOfRange, "", "NO_ENTRIES", "no ledger entry lies in the span")
	case errors.Is(err, pipeline.ErrSwapBusy):
		return refuse(codes.Aborted, "", "SWAP_BUSY", err.Error())
	case errors.Is(err, pipeline.ErrClosed), errors.Is(err, rig.ErrStopping):
		return errStopping
	case errors.Is(err, pipeline.ErrLockstep):
		return refuse(codes.FailedPrecondition, "", "LOCKSTEP", err.Error())
	case errors.Is(err, rig.ErrTaken):
		return refuse(codes.Aborted, "", "DEVICE_TAKEN", err.Error())
	case errors.Is(err, rig.ErrFaulty):
		return refuse(codes.FailedPrecondition, "", "DEVICE_FAULTY", err.Error())
	case errors.Is(err, rig.ErrInvalid):
		return refuse(codes.InvalidArgument, "frame", "FRAME_INVALID", err.Error())
	case errors.Is(err, rig.ErrRepeated):
		return refuse(codes.OutOfRange, "", "SEQUENCE_REPEATED", err.Error())
	case errors.Is(err, rig.ErrBeyond):
		return refuse(codes.OutOfRange, "", "SEQUENCE_BEYOND", err.Error())
	case errors.Is(err, context.Canceled), errors.Is(err, context.DeadlineExceeded):
		return status.FromContextError(err).Err()
	}
	return refuse(codes.Internal, "", "INTERNAL", err.Error())
}
