package service_test

import (
	"context"
	"errors"
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"

	"github.com/ampledger/ampledger/daemon/service"
	"github.com/ampledger/ampledger/daemon/service/servicetest"
	"github.com/ampledger/ampledger/daemon/store"
	"github.com/ampledger/ampledger/daemon/store/storetest"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

func statement(t *testing.T, client ampledgerv1.ChargeServiceClient, request *ampledgerv1.GetStatementRequest) *ampledgerv1.GetStatementResponse {
	t.Helper()
	response, err := client.GetStatement(t.Context(), request)
	if err != nil {
		t.Fatal(err)
	}
	for _, a := range response.GetAccounts() {
		if a.GetNetMicrocoulombs() != a.GetOutMicrocoulombs()-a.GetInMicrocoulombs() ||
			a.GetThroughputMicrocoulombs() != a.GetOutMicrocoulombs()+a.GetInMicrocoulombs() {
			t.Errorf("net or throughput do not fit out and in: %v", a)
		}
		u := a.GetUncertainty()
		root := math.Hypot(math.Hypot(u.GetNoiseCoulombs(), u.GetGainCoulombs()), math.Hypot(u.GetZeroCoulombs(), u.GetGapCoulombs()))
		if math.Abs(u.GetCombinedCoulombs()-root) > 1e-12*root || math.Abs(u.GetInterval95Coulombs()-1.96*root) > 1e-3*root {
			t.Errorf("the parts of the uncertainty do not combine: %v", u)
		}
	}
	return response
}

// TestStatement follows an account from its first reading through two runs of the daemon.
func TestStatement(t *testing.T) {
	kept := storetest.OpenMemory(t)
	rig := servicetest.On(t, servicetest.Retained, kept)
	client := ampledgerv1.NewChargeServiceClient(rig.Connect())
	request := &ampledgerv1.GetStatementRequest{Conductor: "pack"}

	rig.FeedAmperes("adc0", 10, 10, 10, 10, 10, -20, -20, -20, -20, math.NaN(), -20)
	first := statement(t, client, request)
	account := first.GetAccounts()[0]
	// 4 intervals out, one from 10 A to −20 A of which each reading counts half, then 0.5 s in.
	if out, in := account.GetOutMicrocoulombs(), account.GetInMicrocoulombs(); out != 4_000_000+500_000 || in != 10_000_000+1_000_000 {
		t.Errorf("%d µC out and %d µC in", out, in)
	}
	if first.GetChargeFrom() != "shunt" || len(first.GetAccounts()) != 2 || account.GetReadingCount() != 10 ||
		account.GetUnusable().GetNotFiniteCount() != 1 || account.GetDurationNanos() != 10*servicetest.Period || account.GetLastSequence() != 10 {
		t.Errorf("got %v", first)
	}
	if account.GetGaps().GetGapCount() != 1 || len(account.GetLongestGaps()) != 1 || account.GetGaps().GetBoundMicrocoulombs() != 40_000_000 {
		t.Errorf("gaps %v, %v", account.GetGaps(), account.GetLongestGaps())
	}
	if account.GetEntryCount() != 0 || account.GetNewestEntrySequence() != 0 {
		t.Errorf("%d entries before any was posted", account.GetEntryCount())
	}

	rig.Post()
	posted := statement(t, client, request)
	for _, a := range posted.GetAccounts() {
		if a.GetEntryCount() != 1 || a.GetNewestEntrySequence() == 0 {
			t.Errorf("%d entries after a posting, the newest %d", a.GetEntryCount(), a.GetNewestEntrySequence())
		}
		a.EntryCount, a.NewestEntrySequence = 0, 0
	}
	posted.ChainHead = first.GetChainHead()
	if diff := cmp.Diff(first, posted, protocmp.Transform()); diff != "" {
		t.Errorf("posting changes the statement: %s", diff)
	}

	again := servicetest.On(t, servicetest.Retained, kept)
	client = ampledgerv1.NewChargeServiceClient(again.Connect())
	opening := statement(t, client, request)
	for _, a := range opening.GetAccounts() {
		a.EntryCount, a.NewestEntrySequence = 0, 0
	}
	opening.ChainHead = first.GetChainHead()
	if diff := cmp.Diff(first, opening, protocmp.Transform(), close12); diff != "" {
		t.Errorf("the ledger does not open where it was left: %s", diff)
	}
	again.Skip("adc0", 100)
	again.FeedAmperes("adc0", 1, 1, 1)
	since := statement(t, client, request).GetAccounts()[0]
	if since.GetOutMicrocoulombs() != account.GetOutMicrocoulombs()+200_000 || since.GetInMicrocoulombs() != account.GetInMicrocoulombs() ||
		since.GetReadingCount() != 13 || since.GetFirstSequence() != 0 || since.GetLastSequence() != 102 || len(since.GetLongestGaps()) != 1 ||
		since.GetDurationNanos() != 12*servicetest.Period {
		t.Errorf("since the opening: %v", since)
	}
}

// close12 lets sums of floating-point numbers that were added in another order differ in their last digits.
var close12 = cmp.Comparer(func(a, b float64) bool { return math.Abs(a-b) <= 1e-12*math.Max(math.Abs(a), math.Abs(b)) })

// TestSpan states the entries of a span.
func TestSpan(t *testing.T) {
	rig := servicetest.New(t, servicetest.Retained)
	client := ampledgerv1.NewChargeServiceClient(rig.Connect())
	rig.FeedAmperes("adc0", 10, 10, 10)
	rig.Post()
	rig.FeedAmperes("adc0", 20, 20, 20)
	rig.Post()
	second := int64(1e18 + 2*servicetest.Period)
	for name, row := range map[string]struct {
		conductor string
		from, to  *int64
		out       []int64 // by channel
		entries   uint64
	}{
		"everything":            {"pack", proto.Int64(0), nil, []int64{7_500_000, 7_500_000}, 2},
		"from the second entry": {"pack", &second, nil, []int64{5_500_000, 5_500_000}, 1},
		"to the second entry":   {"pack", nil, &second, []int64{2_000_000, 2_000_000}, 1},
		"one channel has none":  {"string", nil, &second, []int64{0}, 1},
	} {
		t.Run(name, func(t *testing.T) {
			got := statement(t, client, &ampledgerv1.GetStatementRequest{Conductor: row.conductor, FromWallNanos: row.from, ToWallNanos: row.to})
			var out []int64
			for _, a := range got.GetAccounts() {
				out = append(out, a.GetOutMicrocoulombs())
				if a.GetEntryCount() != row.entries {
					t.Errorf("%d entries, want %d", a.GetEntryCount(), row.entries)
				}
			}
			if !cmp.Equal(out, row.out) {
				t.Errorf("%v µC out, want %v", out, row.out)
			}
		})
	}
}

// TestStatementRefused asks for what cannot be stated.
func TestStatementRefused(t *testing.T) {
	rig := servicetest.New(t, servicetest.Retained)
	client := ampledgerv1.NewChargeServiceClient(rig.Connect())
	rig.Feed("adc0", 30)
	rig.Post()
	for name, row := range map[string]struct {
		request       *ampledgerv1.GetStatementRequest
		code          codes.Code
		reason, field string
	}{
		"unknown conductor": {&ampledgerv1.GetStatementRequest{Conductor: "tail"}, codes.NotFound, "CONDUCTOR_UNKNOWN", ""},
		"reversed span": {
			&ampledgerv1.GetStatementRequest{Conductor: "pack", FromWallNanos: proto.Int64(2), ToWallNanos: proto.Int64(1)},
			codes.InvalidArgument, "SPAN_REVERSED", "to_wall_nanos",
		},
		"span before the opening": {
			&ampledgerv1.GetStatementRequest{Conductor: "pack", FromWallNanos: proto.Int64(1), ToWallNanos: proto.Int64(1)},
			codes.OutOfRange, "BEFORE_OPENING", "",
		},
		"span without entries": {
			&ampledgerv1.GetStatementRequest{Conductor: "pack", FromWallNanos: proto.Int64(1e18 + 1), ToWallNanos: proto.Int64(1e18 + 2)},
			codes.OutOfRange, "NO_ENTRIES", "",
		},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := client.GetStatement(t.Context(), row.request)
			refused(t, err, row.code, row.reason, row.field)
		})
	}
}

// brokenLedger is a store whose disk fails.
type brokenLedger struct{ *store.Store }

// Balance implements service.Ledger.
func (brokenLedger) Count(context.Context, string, string) (entries, newest uint64, err error) {
	return 0, 0, errors.New("disk on fire")
}

func (brokenLedger) Balance(context.Context, string, string, *int64, *int64) (store.Balance, error) {
	return store.Balance{}, errors.New("disk on fire")
}

// Events implements service.Ledger.
func (brokenLedger) Events(context.Context, uint64, string, int) ([]*ampledgerv1.Event, error) {
	return nil, errors.New("disk on fire")
}

// TestBrokenLedger does not state what it could not read.
func TestBrokenLedger(t *testing.T) {
	rig := servicetest.New(t, servicetest.Retained)
	rig.Backend.Ledger = brokenLedger{rig.Store}
	conn := rig.Connect()
	charge, abuse := ampledgerv1.NewChargeServiceClient(conn), ampledgerv1.NewAbuseServiceClient(conn)
	_, err := charge.GetStatement(t.Context(), &ampledgerv1.GetStatementRequest{Conductor: "pack"})
	refused(t, err, codes.Internal, "INTERNAL", "")
	_, err = charge.GetStatement(t.Context(), &ampledgerv1.GetStatementRequest{Conductor: "pack", ToWallNanos: proto.Int64(1)})
	refused(t, err, codes.Internal, "INTERNAL", "")
	_, err = abuse.ListEvents(t.Context(), &ampledgerv1.ListEventsRequest{})
	refused(t, err, codes.Internal, "INTERNAL", "")
	err = fails(t, abuse.StreamEvents, &ampledgerv1.StreamEventsRequest{AfterLogSequence: proto.Uint64(0)})
	refused(t, err, codes.Internal, "INTERNAL", "")
	if _, err := abuse.ListEvents(expired(t), &ampledgerv1.ListEventsRequest{}); status.Code(err) != codes.DeadlineExceeded {
		t.Errorf("after the deadline: %v", err)
	}
}

// expired gives a context whose deadline is over.
func expired(t *testing.T) context.Context {
	ctx, cancel := context.WithTimeout(t.Context(), 0)
	t.Cleanup(cancel)
	return ctx
}

// TestLongestGaps lists at most 1000 gaps: the longest, in order of time, however the wall clock was set.
func TestLongestGaps(t *testing.T) {
	rig := servicetest.New(t, servicetest.Retained)
	var gaps []store.Gap
	for n := range 1500 {
		gaps = append(gaps, store.Gap{BeforeSequence: uint64(n), DurationNanos: int64(1 + n%3), FromWallNanos: int64(-n)})
	}
	got := service.Statement(rig.Conductor("pack").Conductor, map[string]service.Opening{"shunt": {Gaps: gaps}}).GetAccounts()[0].GetLongestGaps()
	if len(got) != 1000 {
		t.Fatalf("%d gaps", len(got))
	}
	for i, g := range got {
		if g.GetDurationNanos() < 2 || i > 0 && g.GetBeforeSequence() <= got[i-1].GetBeforeSequence() {
			t.Fatalf("gap %d is %v, after %v", i, g, got[max(0, i-1)])
		}
	}
}
