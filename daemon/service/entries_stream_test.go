package service_test

import (
	"slices"
	"sync"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"github.com/ampledger/ampledger/daemon/service/servicetest"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// TestStreamEntries follows the ledger from its beginning, from an entry on and from now on.
func TestStreamEntries(t *testing.T) {
	rig := posted(t)
	client := ampledgerv1.NewChargeServiceClient(rig.Connect())
	all := open(t, client.StreamEntries, &ampledgerv1.StreamEntriesRequest{AfterEntrySequence: proto.Uint64(0)})
	resumed := open(t, client.StreamEntries, &ampledgerv1.StreamEntriesRequest{AfterEntrySequence: proto.Uint64(6), Conductor: "pack"})
	live := open(t, client.StreamEntries, &ampledgerv1.StreamEntriesRequest{Kinds: []ampledgerv1.EntryKind{interval}, Channel: "hall"})
	rig.FeedAmperes("adc0", 10, 10, 10)
	rig.Post()
	want := func(s stream[ampledgerv1.StreamEntriesResponse], sequences ...uint64) {
		t.Helper()
		for _, sequence := range sequences {
			if got := s.next().GetEntry().GetEntrySequence(); got != sequence {
				t.Fatalf("entry %d comes, want %d", got, sequence)
			}
		}
	}
	want(all, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11)
	want(resumed, 7, 8, 9, 10)
	want(live, 10)
	rig.Backend.Posted.Close()
	for _, s := range []stream[ampledgerv1.StreamEntriesResponse]{all, resumed, live} {
		more, err := s.rest()
		refused(t, err, codes.Unavailable, "STOPPING", "")
		if len(more) > 0 {
			t.Errorf("%d entries come twice: %v", len(more), more)
		}
	}
}

// TestStreamEntriesRefused follows what is not there.
func TestStreamEntriesRefused(t *testing.T) {
	rig := posted(t)
	client := ampledgerv1.NewChargeServiceClient(rig.Connect())
	for name, row := range map[string]struct {
		request       *ampledgerv1.StreamEntriesRequest
		code          codes.Code
		reason, field string
	}{
		"unknown conductor": {&ampledgerv1.StreamEntriesRequest{Conductor: "tail"}, codes.NotFound, "CONDUCTOR_UNKNOWN", ""},
		"unknown channel":   {&ampledgerv1.StreamEntriesRequest{Channel: "tail"}, codes.NotFound, "CHANNEL_UNKNOWN", ""},
		"unknown kind":      {&ampledgerv1.StreamEntriesRequest{Kinds: []ampledgerv1.EntryKind{99}}, codes.InvalidArgument, "KIND_UNKNOWN", "kinds"},
		"behind the newest": {&ampledgerv1.StreamEntriesRequest{AfterEntrySequence: proto.Uint64(9)}, codes.OutOfRange, "ENTRY_UNKNOWN", ""},
	} {
		t.Run(name, func(t *testing.T) {
			refused(t, fails(t, client.StreamEntries, row.request), row.code, row.reason, row.field)
		})
	}
	s := open(t, client.StreamEntries, &ampledgerv1.StreamEntriesRequest{})
	s.leave()
	if _, err := s.rest(); status.Code(err) != codes.Canceled {
		t.Errorf("left, it ended with %v", err)
	}
}

// TestStreamEntriesExactlyOnce lets followers come while entries are posted: each gets each entry once, in order.
func TestStreamEntriesExactlyOnce(t *testing.T) {
	const rounds = 30
	type following struct {
		got []uint64
		err error
	}
	rig := servicetest.New(t, servicetest.Retained)
	client := ampledgerv1.NewChargeServiceClient(rig.Connect())
	var followers sync.WaitGroup
	var all [rounds]following
	for i := range all {
		s := open(t, client.StreamEntries, &ampledgerv1.StreamEntriesRequest{AfterEntrySequence: proto.Uint64(0)})
		followers.Go(func() {
			messages, err := s.rest()
			all[i].err = err
			for _, m := range messages {
				all[i].got = append(all[i].got, m.GetEntry().GetEntrySequence())
			}
		})
		rig.FeedAmperes("adc0", 10, 10, 10)
		for _, c := range rig.Backend.Conductors {
			c.Post(t.Context())
		}
	}
	rig.Flush()
	rig.Backend.Posted.Close()
	followers.Wait()
	head, err := rig.Store.ChainHead(t.Context())
	if err != nil || head.EntrySequence < 3*rounds {
		t.Fatal(head, err)
	}
	var want []uint64
	for n := range head.EntrySequence {
		want = append(want, n+1)
	}
	for _, f := range all {
		if !slices.Equal(f.got, want) || status.Code(f.err) != codes.Unavailable {
			t.Errorf("got %v of %d, %v", f.got, head.EntrySequence, f.err)
		}
	}
}
