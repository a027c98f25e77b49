package service

import (
	"context"

	"google.golang.org/grpc/codes"

	"github.com/ampledger/ampledger/daemon/pipeline"
	"github.com/ampledger/ampledger/daemon/store"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// Conductor is a conductor with its hub and what its ledger held when the daemon started.
type Conductor struct {
	*pipeline.Conductor
	Hub     *Hub
	Opening map[string]Opening // by channel
}

// Opening is what a channel's ledger held before this run of the daemon.
type Opening struct {
	Balance store.Balance
	Gaps    []store.Gap // the longest
}

// Ledger reads what is on disk.
type Ledger interface {
	AbuseLog
	// Balance sums the entries of a channel in a span, as store.Store does.
	Balance(ctx context.Context, conductor, channel string, fromWall, toWall *int64) (store.Balance, error)
	// Count counts a channel's entries and gives the newest one's sequence, as store.Store does.
	Count(ctx context.Context, conductor, channel string) (entries, newest uint64, err error)
	// Gaps gives the longest gaps of the entries that Balance sums, in the order of the ledger.
	Gaps(ctx context.Context, conductor, channel string, fromWall, toWall *int64, limit int) ([]store.Gap, error)
	// ChainHead gives the newest entry and its chain.
	ChainHead(ctx context.Context) (store.Head, error)
	// Identity tells one ledger from another.
	Identity(ctx context.Context) ([16]byte, error)
	// Entries gives entries behind an entry sequence, oldest first.
	Entries(ctx context.Context, afterEntrySequence uint64, filter store.Filter, limit int) ([]store.Entry, error)
	// GapsOf gives the gaps that an entry details.
	GapsOf(ctx context.Context, entrySequence uint64) ([]store.Gap, error)
	// Span gives from when to when the entries reach that a filter lets through.
	Span(ctx context.Context, filter store.Filter) (fromWall, toWall int64, err error)
	// Events gives recorded changes behind a log sequence, oldest first.
	Events(ctx context.Context, afterLogSequence uint64, conductor string, limit int) ([]*ampledgerv1.Event, error)
}

// Backend is what the services serve. Its fields are not changed once it is used.
type Backend struct {
	Conductors []*Conductor
	Devices    []*pipeline.Device
	Feeds      []*Feed // the devices that are fed
	Ledger     Ledger
	Records    Records
	Events     *Events
	Waveforms  *Waveforms // nil = none are taken
	Posted     *Posted
	Estimates  *Estimates
	Trail      Trail                       // nil = what estimators said is not recorded
	Durable    func(context.Context) error // waits until what was posted is on disk; nil = nothing is kept
	Recording  func() error                // what keeps the store from recording; nil = nothing can
	Estimators []string                    // shipped estimators, by name
	Candidates string                      // folder of the executables that callers may have started as estimators; empty = none may be
}

// Trail gives what is recorded of what estimators said, as trail.Trail does.
type Trail interface {
	// Read hands on records of a span of wall-clock time, both ends included, by time, until yield gives an error, which is given back.
	Read(ctx context.Context, conductor string, fromWall, toWall int64, yield func(*ampledgerv1.EstimateRecord) error) error
}

// recorded hands on what is recorded of a conductor's estimators; nothing if nothing is.
func (b *Backend) recorded(ctx context.Context, conductor string, fromWall, toWall int64, yield func(*ampledgerv1.EstimateRecord) error) error {
	if b.Trail == nil {
		return nil
	}
	return b.Trail.Read(ctx, conductor, fromWall, toWall, yield)
}

func (b *Backend) conductor(name string) (*Conductor, error) {
	for _, c := range b.Conductors {
		if c.Name() == name {
			return c, nil
		}
	}
	return nil, refuse(codes.NotFound, "conductor", "CONDUCTOR_UNKNOWN", "there is no conductor "+quote(name))
}
