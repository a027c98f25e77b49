package service

import (
	"context"
	"errors"
	"slices"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	"github.com/ampledger/ampledger/daemon/pipeline"
	"github.com/ampledger/ampledger/daemon/store"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// pageGaps is how many gaps the entries of a page may list together, so that no page outgrows what a client takes.
const pageGaps = 20_000

// ListEntries implements the call.
func (s *chargeServer) ListEntries(ctx context.Context, request *ampledgerv1.ListEntriesRequest) (*ampledgerv1.ListEntriesResponse, error) {
	size, err := pageSize(request.GetPageSize())
	if err != nil {
		return nil, err
	}
	filter, err := s.filter(request)
	if err != nil {
		return nil, err
	}
	if err := checkSpan(request.FromWallNanos, request.ToWallNanos); err != nil {
		return nil, err
	}
	filter.FromWall, filter.ToWall = request.FromWallNanos, request.ToWallNanos
	asked := proto.CloneOf(request)
	asked.PageSize, asked.PageToken = 0, ""
	question, err := s.backend.question(ctx, asked)
	if err != nil {
		return nil, err
	}
	after, err := question.after(request.GetPageToken())
	if err != nil {
		return nil, err
	}
	entries, more, err := s.page(ctx, after, filter, size)
	if err != nil {
		return nil, statusOf(err)
	}
	response := &ampledgerv1.ListEntriesResponse{Entries: entries}
	switch {
	case more:
		response.NextPageToken = question.token(entries[len(entries)-1].GetEntrySequence())
	case len(entries) == 0 && after == 0 && (filter.FromWall != nil || filter.ToWall != nil):
		return response, s.outside(ctx, filter)
	}
	return response, nil
}

// page reads entries with their gaps; more = the ledger goes on behind them.
func (s *chargeServer) page(ctx context.Context, after uint64, filter store.Filter, size int) (entries []*ampledgerv1.Entry, more bool, err error) {
	stored, err := s.backend.Ledger.Entries(ctx, after, filter, size+1)
	if err != nil {
		return nil, false, err
	}
	gapCount := 0
	for i := range stored {
		if i == size || gapCount > pageGaps {
			return entries, true, nil
		}
		entry, err := s.detailed(ctx, &stored[i])
		if err != nil {
			return nil, false, err
		}
		gapCount += len(entry.GetLongestGaps())
		entries = append(entries, entry)
	}
	return entries, false, nil
}

// detailed reads an entry's gaps beside it.
func (s *chargeServer) detailed(ctx context.Context, entry *store.Entry) (*ampledgerv1.Entry, error) {
	if entry.GapCount == 0 {
		return entryOf(entry, nil), nil
	}
	gaps, err := s.backend.Ledger.GapsOf(ctx, entry.Sequence)
	return entryOf(entry, gaps), err
}

func pageSize(asked int32) (int, error) {
	switch {
	case asked < 0:
		return 0, refuse(codes.InvalidArgument, "page_size", "PAGE_SIZE_INVALID", "page_size is negative")
	case asked == 0:
		return defaultPage, nil
	}
	return min(int(asked), maximumPage), nil
}

// wanted is what listing and streaming entries have in common.
type wanted interface {
	GetConductor() string
	GetChannel() string
	GetKinds() []ampledgerv1.EntryKind
}

// filter checks which entries are wanted.
func (s *chargeServer) filter(of wanted) (store.Filter, error) {
	filter := store.Filter{Conductor: of.GetConductor(), Channel: of.GetChannel()}
	among := s.backend.Conductors
	if filter.Conductor != "" {
		c, err := s.backend.conductor(filter.Conductor)
		if err != nil {
			return filter, err
		}
		among = []*Conductor{c}
	}
	if filter.Channel != "" && !slices.ContainsFunc(among, func(c *Conductor) bool { return hasChannel(c, filter.Channel) }) {
		return filter, refuse(codes.NotFound, "channel", "CHANNEL_UNKNOWN", "there is no channel "+quote(filter.Channel))
	}
	for _, asked := range of.GetKinds() {
		kind, known := kindFrom[asked]
		if !known {
			return filter, refuse(codes.InvalidArgument, "kinds", "KIND_UNKNOWN", "there is no kind "+quote(asked.String()))
		}
		filter.Kinds = append(filter.Kinds, kind)
	}
	return filter, nil
}

func hasChannel(c *Conductor, name string) bool {
	return slices.ContainsFunc(c.Lanes(), func(lane *pipeline.Lane) bool { return lane.Name == name })
}

// checkSpan refuses a span that ends before it begins.
func checkSpan(fromWall, toWall *int64) error {
	if fromWall != nil && toWall != nil && *fromWall > *toWall {
		return refuse(codes.InvalidArgument, "to_wall_nanos", "SPAN_REVERSED", "the span ends before it begins")
	}
	return nil
}

// outside refuses a span that lies before or after all that a ledger has or can have.
func (s *chargeServer) outside(ctx context.Context, filter store.Filter) error {
	first, last, err := s.backend.Ledger.Span(ctx, filter)
	switch {
	case errors.Is(err, store.ErrNoEntries):
		return nil
	case err != nil:
		return statusOf(err)
	case filter.ToWall != nil && *filter.ToWall < first:
		return refuse(codes.OutOfRange, "", "BEFORE_OPENING", "no ledger entry lies in the span: it ends before the ledger opens")
	case filter.FromWall != nil && *filter.FromWall > max(last, time.Now().UnixNano()):
		return refuse(codes.OutOfRange, "", "IN_FUTURE", "no ledger entry lies in the span: it begins in the future")
	}
	return nil
}

// noEntries says why there are none in a span.
func (s *chargeServer) noEntries(ctx context.Context, filter store.Filter) error {
	if err := s.outside(ctx, filter); err != nil {
		return err
	}
	return statusOf(store.ErrNoEntries)
}
