package service

import (
	"context"
	"errors"

	"google.golang.org/grpc/codes"

	"github.com/ampledger/ampledger/daemon/store"
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
	// What is on disk is counted there before the accounts are taken: it may only be behind them.
	onDisk := map[string]store.Balance{}
	for _, lane := range c.Lanes() {
		balance, err := s.backend.Ledger.Balance(ctx, c.Name(), lane.Name, nil, nil)
		if err != nil && !errors.Is(err, store.ErrNoEntries) {
			return nil, statusOf(err)
		}
		onDisk[lane.Name] = balance
	}
	statement := Statement(c.Conductor, c.Opening)
	for _, account := range statement.GetAccounts() {
		balance := onDisk[account.GetChannel()]
		account.EntryCount, account.NewestEntrySequence = balance.EntryCount, balance.NewestEntrySequence
	}
	return statement, nil
}

// span answers from the entries alone. A channel that has none in the span has no account.
func (s *chargeServer) span(ctx context.Context, c *Conductor, request *ampledgerv1.GetStatementRequest) (*ampledgerv1.GetStatementResponse, error) {
	response := &ampledgerv1.GetStatementResponse{Conductor: c.Name(), ChargeFrom: c.ChargeFrom()}
	for _, lane := range c.Lanes() {
		// Gaps first: an entry that comes in between adds to the sums, and never a gap that they do not hold.
		gaps, err := s.backend.Ledger.Gaps(ctx, c.Name(), lane.Name, request.FromWallNanos, request.ToWallNanos, listedGaps)
		if err != nil {
			return nil, statusOf(err)
		}
		balance, err := s.backend.Ledger.Balance(ctx, c.Name(), lane.Name, request.FromWallNanos, request.ToWallNanos)
		if errors.Is(err, store.ErrNoEntries) {
			continue
		}
		if err != nil {
			return nil, statusOf(err)
		}
		response.Accounts = append(response.Accounts, accountOf(lane.Name, Opening{balance, gaps}))
	}
	if len(response.GetAccounts()) == 0 {
		return nil, statusOf(store.ErrNoEntries)
	}
	return response, nil
}
