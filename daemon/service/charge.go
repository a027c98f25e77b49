package service

import (
	"context"

	"google.golang.org/grpc/codes"

	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// chargeServer serves ampledger.v1.ChargeService.
type chargeServer struct {
	ampledgerv1.UnimplementedChargeServiceServer
	backend *Backend
}

// GetStatement implements the call.
func (s *chargeServer) GetStatement(ctx context.Context, request *ampledgerv1.GetStatementRequest) (*ampledgerv1.GetStatementResponse, error) {
	c, err := s.backend.conductor(request.GetConductor())
	if err != nil {
		return nil, err
	}
	if request.FromWallNanos != nil && request.ToWallNanos != nil && request.GetFromWallNanos() > request.GetToWallNanos() {
		return nil, refuse(codes.InvalidArgument, "to_wall_nanos", "SPAN_REVERSED", "the span ends before it begins")
	}
	if request.FromWallNanos != nil || request.ToWallNanos != nil {
		return s.span(ctx, c, request)
	}
	statement := Statement(c.Conductor, c.Opening)
	for _, account := range statement.GetAccounts() {
		// What is on disk is counted there, after the accounts were taken: it may only be behind them.
		if b, err := s.backend.Ledger.Balance(ctx, c.Name(), account.GetChannel(), nil, nil); err == nil {
			account.EntryCount, account.NewestEntrySequence = b.EntryCount, b.NewestEntrySequence
		}
	}
	return statement, nil
}

// span answers from the entries alone.
func (s *chargeServer) span(ctx context.Context, c *Conductor, request *ampledgerv1.GetStatementRequest) (*ampledgerv1.GetStatementResponse, error) {
	response := &ampledgerv1.GetStatementResponse{Conductor: c.Name(), ChargeFrom: c.ChargeFrom()}
	for _, lane := range c.Lanes() {
		balance, err := s.backend.Ledger.Balance(ctx, c.Name(), lane.Name, request.FromWallNanos, request.ToWallNanos)
		if err != nil {
			return nil, statusOf(err)
		}
		gaps, err := s.backend.Ledger.Gaps(ctx, c.Name(), lane.Name, request.FromWallNanos, request.ToWallNanos, listedGaps)
		if err != nil {
			return nil, statusOf(err)
		}
		response.Accounts = append(response.Accounts, accountOf(lane.Name, Opening{balance, gaps}))
	}
	return response, nil
}
