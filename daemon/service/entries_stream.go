package service

import (
	"context"
	"fmt"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"

	"github.com/ampledger/ampledger/daemon/store"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// entryStream is one follower of the ledger.
type entryStream struct {
	*chargeServer
	to     grpc.ServerStreamingServer[ampledgerv1.StreamEntriesResponse]
	filter store.Filter
	sent   uint64 // the follower has all up to here
}

// StreamEntries implements the call.
func (s *chargeServer) StreamEntries(request *ampledgerv1.StreamEntriesRequest, stream grpc.ServerStreamingServer[ampledgerv1.StreamEntriesResponse]) error {
	filter, err := s.filter(request)
	if err != nil {
		return err
	}
	f := entryStream{chargeServer: s, to: stream, filter: filter}
	if f.sent, err = s.begin(stream.Context(), request.AfterEntrySequence); err != nil {
		return err
	}
	// Headers now, so that a caller knows that it misses nothing from here on.
	if err := stream.SendHeader(nil); err != nil {
		return err
	}
	for {
		changed, open := s.backend.Posted.watch() // before the ledger is read, so that nothing falls between
		if err := f.sendRest(); err != nil {
			return err
		}
		if !open {
			return errStopping
		}
		select {
		case <-stream.Context().Done():
			return statusOf(stream.Context().Err())
		case <-changed:
		}
	}
}

// begin gives the entry to begin behind: the one asked for, or the newest.
func (s *chargeServer) begin(ctx context.Context, asked *uint64) (uint64, error) {
	head, err := s.backend.Ledger.ChainHead(ctx)
	if err != nil {
		return 0, statusOf(err)
	}
	if asked == nil {
		return head.EntrySequence, nil
	}
	if *asked > head.EntrySequence {
		return 0, refuse(codes.OutOfRange, "", "ENTRY_UNKNOWN",
			fmt.Sprintf("the newest entry is %d, so entry %d was in another ledger", head.EntrySequence, *asked))
	}
	return *asked, nil
}

// sendRest sends all that is durable and was not sent.
func (f *entryStream) sendRest() error {
	for {
		// The newest first: what the filter leaves out up to there need not be read again.
		head, err := f.backend.Ledger.ChainHead(f.to.Context())
		if err != nil {
			return statusOf(err)
		}
		entries, more, err := f.page(f.to.Context(), f.sent, f.filter, maximumPage)
		if err != nil {
			return statusOf(err)
		}
		for _, entry := range entries {
			if err := f.to.Send(&ampledgerv1.StreamEntriesResponse{Entry: entry}); err != nil {
				return err
			}
			f.sent = entry.GetEntrySequence()
		}
		if !more {
			f.sent = max(f.sent, head.EntrySequence)
			return nil
		}
	}
}
