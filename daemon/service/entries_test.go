package service_test

import (
	"bytes"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"

	"github.com/ampledger/ampledger/daemon/service/servicetest"
	"github.com/ampledger/ampledger/daemon/store"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

const (
	interval      = ampledgerv1.EntryKind_ENTRY_KIND_INTERVAL
	uncounted     = ampledgerv1.EntryKind_ENTRY_KIND_GAP
	mark          = ampledgerv1.EntryKind_ENTRY_KIND_MARK
	configuration = ampledgerv1.EntryKind_ENTRY_KIND_CONFIGURATION
)

// posted gives a rig with eight entries in its ledger: two intervals of each channel of "pack" and "string"'s left one, a mark and a
// configuration.
func posted(t *testing.T) *servicetest.Rig {
	t.Helper()
	rig := servicetest.New(t, servicetest.Retained)
	for range 2 {
		rig.FeedAmperes("adc0", 10, 10, 10)
		rig.Post()
	}
	bare := store.Entry{Conductor: "pack", Channel: "shunt", Device: "adc0", FromWallNanos: 1e18 + 5e8, ToWallNanos: 1e18 + 5e8, Reason: "said"}
	marked, configured := bare, bare
	marked.Kind, marked.Mark = store.Marked, store.Mark{StoredCoulombs: 36000, StandardUncertaintyCoulombs: 360, By: "somebody", Note: "full"}
	configured.Kind, configured.ConfigurationSHA256 = store.Configured, strings.Repeat("ab", 32)
	if !rig.Recorder.Post(marked, nil) || !rig.Recorder.Post(configured, nil) {
		t.Fatal(rig.Recorder.Health())
	}
	rig.Flush()
	return rig
}

// named writes down which entries these are.
func named(entries []*ampledgerv1.Entry) (names []string) {
	for _, e := range entries {
		names = append(names, fmt.Sprintf("%d %s/%s", e.GetEntrySequence(), e.GetConductor(), e.GetChannel()))
	}
	return names
}

// TestListEntries asks for entries by all that can be asked, in pages of every size.
func TestListEntries(t *testing.T) {
	client := ampledgerv1.NewChargeServiceClient(posted(t).Connect())
	second := int64(1e18 + 2*servicetest.Period)
	for name, row := range map[string]struct {
		request *ampledgerv1.ListEntriesRequest
		want    []string
	}{
		"all":            {&ampledgerv1.ListEntriesRequest{}, []string{"1 pack/shunt", "2 pack/hall", "3 string/left", "4 pack/shunt", "5 pack/hall", "6 string/left", "7 pack/shunt", "8 pack/shunt"}},
		"of a conductor": {&ampledgerv1.ListEntriesRequest{Conductor: "string"}, []string{"3 string/left", "6 string/left"}},
		"of a channel":   {&ampledgerv1.ListEntriesRequest{Channel: "hall"}, []string{"2 pack/hall", "5 pack/hall"}},
		"of a kind":      {&ampledgerv1.ListEntriesRequest{Kinds: []ampledgerv1.EntryKind{mark}}, []string{"7 pack/shunt"}},
		"of two kinds":   {&ampledgerv1.ListEntriesRequest{Kinds: []ampledgerv1.EntryKind{configuration, mark}}, []string{"7 pack/shunt", "8 pack/shunt"}},
		"of no such":     {&ampledgerv1.ListEntriesRequest{Kinds: []ampledgerv1.EntryKind{uncounted}}, nil},
		"from a time":    {&ampledgerv1.ListEntriesRequest{Conductor: "pack", Kinds: []ampledgerv1.EntryKind{interval}, FromWallNanos: &second}, []string{"4 pack/shunt", "5 pack/hall"}},
		"up to a time":   {&ampledgerv1.ListEntriesRequest{Conductor: "pack", ToWallNanos: &second}, []string{"1 pack/shunt", "2 pack/hall"}},
		"too short":      {&ampledgerv1.ListEntriesRequest{FromWallNanos: proto.Int64(second + 1), ToWallNanos: proto.Int64(second + 2)}, nil},
	} {
		for _, size := range []int32{0, 1, 3, 2000} {
			t.Run(fmt.Sprint(name, " by ", size), func(t *testing.T) {
				request := proto.CloneOf(row.request)
				request.PageSize = size
				var got []string
				for {
					page, err := client.ListEntries(t.Context(), request)
					if err != nil {
						t.Fatal(err)
					}
					if size > 0 && len(page.GetEntries()) > int(size) {
						t.Errorf("%d entries on a page", len(page.GetEntries()))
					}
					got = append(got, named(page.GetEntries())...)
					if request.PageToken = page.GetNextPageToken(); request.PageToken == "" {
						break
					}
				}
				if diff := cmp.Diff(row.want, got); diff != "" {
					t.Errorf("(-want +got)\n%s", diff)
				}
			})
		}
	}
}

// TestEntries looks into entries.
func TestEntries(t *testing.T) {
	rig := servicetest.New(t, servicetest.Retained)
	rig.FeedAmperes("adc0", 10, 10)
	rig.Skip("adc0", 100)
	rig.FeedAmperes("adc0", -20, -20)
	rig.Post()
	client := ampledgerv1.NewChargeServiceClient(rig.Connect())
	page, err := client.ListEntries(t.Context(), &ampledgerv1.ListEntriesRequest{Channel: "shunt"})
	if err != nil || len(page.GetEntries()) != 1 {
		t.Fatal(page, err)
	}
	e, account := page.GetEntries()[0], statement(t, client, &ampledgerv1.GetStatementRequest{Conductor: "pack"}).GetAccounts()[0]
	if e.GetKind() != interval || e.GetDevice() != "adc0" || e.GetEpochCount() != 1 || e.GetFirstSequence() != 0 || e.GetLastSequence() != 103 ||
		e.GetOutMicrocoulombs() != account.GetOutMicrocoulombs() || e.GetInMicrocoulombs() != account.GetInMicrocoulombs() ||
		e.GetNetMicrocoulombs() != account.GetNetMicrocoulombs() || e.GetDurationNanos() != 103*servicetest.Period || e.GetReason() != "interval" {
		t.Errorf("entry %v of account %v", e, account)
	}
	for name, pair := range map[string][2]proto.Message{
		"gaps": {e.GetGaps(), account.GetGaps()}, "unusable": {e.GetUnusable(), account.GetUnusable()}, "gap": {e.GetLongestGaps()[0], account.GetLongestGaps()[0]},
	} {
		if diff := cmp.Diff(pair[0], pair[1], protocmp.Transform()); diff != "" {
			t.Errorf("%s (-entry +account)\n%s", name, diff)
		}
	}

	client = ampledgerv1.NewChargeServiceClient(posted(t).Connect())
	page, err = client.ListEntries(t.Context(), &ampledgerv1.ListEntriesRequest{Kinds: []ampledgerv1.EntryKind{mark, configuration}})
	if err != nil || len(page.GetEntries()) != 2 {
		t.Fatal(page, err)
	}
	want := &ampledgerv1.StoredCharge{StoredCoulombs: 36000, StandardUncertaintyCoulombs: 360, By: "somebody", Note: "full"}
	marked, configured := page.GetEntries()[0], page.GetEntries()[1]
	if !proto.Equal(marked.GetStored(), want) || marked.GetConfigurationSha256() != nil {
		t.Errorf("mark is %v", marked)
	}
	if configured.GetStored() != nil || !bytes.Equal(configured.GetConfigurationSha256(), bytes.Repeat([]byte{0xab}, 32)) {
		t.Errorf("configuration is %v", configured)
	}
}

// TestEntriesRefused asks for what there cannot be.
func TestEntriesRefused(t *testing.T) {
	rig := posted(t)
	client := ampledgerv1.NewChargeServiceClient(rig.Connect())
	first, err := client.ListEntries(t.Context(), &ampledgerv1.ListEntriesRequest{Conductor: "pack", PageSize: 1})
	if err != nil {
		t.Fatal(err)
	}
	other, err := ampledgerv1.NewChargeServiceClient(posted(t).Connect()).ListEntries(t.Context(), &ampledgerv1.ListEntriesRequest{PageSize: 1})
	if err != nil {
		t.Fatal(err)
	}
	future := time.Now().Add(time.Hour).UnixNano()
	for name, row := range map[string]struct {
		request       *ampledgerv1.ListEntriesRequest
		code          codes.Code
		reason, field string
	}{
		"unknown conductor":        {&ampledgerv1.ListEntriesRequest{Conductor: "tail"}, codes.NotFound, "CONDUCTOR_UNKNOWN", ""},
		"unknown channel":          {&ampledgerv1.ListEntriesRequest{Conductor: "pack", Channel: "left"}, codes.NotFound, "CHANNEL_UNKNOWN", ""},
		"channel of none":          {&ampledgerv1.ListEntriesRequest{Channel: "tail"}, codes.NotFound, "CHANNEL_UNKNOWN", ""},
		"unknown kind":             {&ampledgerv1.ListEntriesRequest{Kinds: []ampledgerv1.EntryKind{99}}, codes.InvalidArgument, "KIND_UNKNOWN", "kinds"},
		"no kind":                  {&ampledgerv1.ListEntriesRequest{Kinds: []ampledgerv1.EntryKind{0}}, codes.InvalidArgument, "KIND_UNKNOWN", "kinds"},
		"negative page":            {&ampledgerv1.ListEntriesRequest{PageSize: -1}, codes.InvalidArgument, "PAGE_SIZE_INVALID", "page_size"},
		"reversed span":            {&ampledgerv1.ListEntriesRequest{FromWallNanos: proto.Int64(2), ToWallNanos: proto.Int64(1)}, codes.InvalidArgument, "SPAN_REVERSED", "to_wall_nanos"},
		"span before the opening":  {&ampledgerv1.ListEntriesRequest{ToWallNanos: proto.Int64(1e18 - 1)}, codes.OutOfRange, "BEFORE_OPENING", ""},
		"span in the future":       {&ampledgerv1.ListEntriesRequest{FromWallNanos: &future}, codes.OutOfRange, "IN_FUTURE", ""},
		"token of another ledger":  {&ampledgerv1.ListEntriesRequest{PageToken: other.GetNextPageToken()}, codes.InvalidArgument, "PAGE_TOKEN_INVALID", "page_token"},
		"token of another request": {&ampledgerv1.ListEntriesRequest{PageToken: first.GetNextPageToken()}, codes.InvalidArgument, "PAGE_TOKEN_INVALID", "page_token"},
		"token cut short":          {&ampledgerv1.ListEntriesRequest{Conductor: "pack", PageToken: first.GetNextPageToken()[:9]}, codes.InvalidArgument, "PAGE_TOKEN_INVALID", "page_token"},
		"token of nothing":         {&ampledgerv1.ListEntriesRequest{PageToken: "17"}, codes.InvalidArgument, "PAGE_TOKEN_INVALID", "page_token"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := client.ListEntries(t.Context(), row.request)
			refused(t, err, row.code, row.reason, row.field)
		})
	}
	empty := ampledgerv1.NewChargeServiceClient(servicetest.New(t, servicetest.Retained).Connect())
	if page, err := empty.ListEntries(t.Context(), &ampledgerv1.ListEntriesRequest{FromWallNanos: &future}); err != nil || len(page.GetEntries()) > 0 {
		t.Errorf("of an empty ledger: %v, %v", page, err)
	}
	_, err = client.GetStatement(t.Context(), &ampledgerv1.GetStatementRequest{Conductor: "pack", FromWallNanos: &future})
	refused(t, err, codes.OutOfRange, "IN_FUTURE", "")
}

// TestStatementHead wants the chain's end in every statement: the ledger's newest entry and its chain.
func TestStatementHead(t *testing.T) {
	rig := posted(t)
	client := ampledgerv1.NewChargeServiceClient(rig.Connect())
	want, err := rig.Store.ChainHead(t.Context())
	if err != nil || want.EntrySequence != 8 {
		t.Fatal(want, err)
	}
	for _, request := range []*ampledgerv1.GetStatementRequest{{Conductor: "pack"}, {Conductor: "string", FromWallNanos: proto.Int64(0)}} {
		head := statement(t, client, request).GetChainHead()
		if head.GetEntrySequence() != 8 || !bytes.Equal(head.GetChainSha256(), want.Chain[:]) {
			t.Errorf("head is %v, want %v", head, want)
		}
	}
}
