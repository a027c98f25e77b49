package service

import (
	"context"
	"errors"

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
	if err := checkSpan(request.FromWallNanos, request.ToWallNanos); err != nil {
		return nil, err
	}
	state := s.now
	if request.FromWallNanos != nil || request.ToWallNanos != nil {
		state = s.span
	}
	statement, err := state(ctx, c, request)
	if err != nil {
		return nil, err
	}
	head, err := s.backend.Ledger.ChainHead(ctx) // after the sums, so that it covers every entry in them
	statement.ChainHead = &ampledgerv1.ChainHead{EntrySequence: head.EntrySequence, ChainSha256: head.Chain[:]}
	return statement, statusOf(err)
}

// now states all that was counted, on disk or not.
func (s *chargeServer) now(ctx context.Context, c *Conductor, _ *ampledgerv1.GetStatementRequest) (*ampledgerv1.GetStatementResponse, error) {
	// What is on disk is counted there before the accounts are taken: it may only be behind them.
	type count struct{ entries, newest uint64 }
	onDisk := map[string]count{}
	for _, lane := range c.Lanes() {
		entries, newest, err := s.backend.Ledger.Count(ctx, c.Name(), lane.Name)
		if err != nil {
			return nil, statusOf(err)
		}
		onDisk[lane.Name] = count{entries, newest}
	}
	statement := Statement(c.Conductor, c.Opening)
	for _, account := range statement.GetAccounts() {
		on := onDisk[account.GetChannel()]
		account.EntryCount, account.NewestEntrySequence = on.entries, on.newest
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
		return nil, s.noEntries(ctx, store.Filter{Conductor: c.Name(), FromWall: request.FromWallNanos, ToWall: request.ToWallNanos})
	}
	return response, nil
}
