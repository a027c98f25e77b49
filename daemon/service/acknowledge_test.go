package service_test

import (
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"github.com/ampledger/ampledger/daemon/service/servicetest"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// TestAcknowledge says that an event was seen: all its changes say so when they are listed, what was recorded of them stays, and whoever says it
// again learns who was first.
func TestAcknowledge(t *testing.T) {
	rig := servicetest.New(t, servicetest.Retained)
	client := ampledgerv1.NewAbuseServiceClient(rig.Connect())
	abuse(rig, 2)
	rig.Flush()
	before := list(t, client, &ampledgerv1.ListEventsRequest{})
	seen := before[0].GetEventId()
	began := time.Now().UnixNano()
	response, err := client.AcknowledgeEvent(t.Context(), &ampledgerv1.AcknowledgeEventRequest{EventId: seen, By: "Ada", Note: "a test"})
	if err != nil {
		t.Fatal(err)
	}
	want := response.GetAcknowledgement()
	if want.GetBy() != "Ada" || want.GetNote() != "a test" || want.GetWallNanos() < began || want.GetWallNanos() > time.Now().UnixNano() {
		t.Errorf("got %v", want)
	}

	_, err = client.AcknowledgeEvent(t.Context(), &ampledgerv1.AcknowledgeEventRequest{EventId: seen, By: "Bob"})
	refused(t, err, codes.AlreadyExists, "ACKNOWLEDGED", "")
	if details := status.Convert(err).Details(); len(details) != 2 || !proto.Equal(details[1].(proto.Message), want) {
		t.Errorf("the details say %v, want %v", details, want)
	}

	for _, event := range list(t, client, &ampledgerv1.ListEventsRequest{}) {
		if got := event.GetAcknowledgement(); event.GetEventId() == seen && !proto.Equal(got, want) || event.GetEventId() != seen && got != nil {
			t.Errorf("event %s is acknowledged: %v", event.GetEventId(), got)
		}
	}
	stored, err := rig.Store.Events(t.Context(), 0, "", 100)
	if err != nil || len(stored) != 6 || stored[0].GetAcknowledgement() != nil {
		t.Errorf("what was recorded has changed: %v (%v)", stored, err)
	}
	open := list(t, client, &ampledgerv1.ListEventsRequest{UnacknowledgedOnly: true, PageSize: 2})
	if len(open) != 3 || !cmp.Equal([]uint64{4, 5, 6}, []uint64{open[0].GetLogSequence(), open[1].GetLogSequence(), open[2].GetLogSequence()}) {
		t.Errorf("open are %v", open)
	}
}

// list gives all pages.
func list(t *testing.T, client ampledgerv1.AbuseServiceClient, request *ampledgerv1.ListEventsRequest) (all []*ampledgerv1.Event) {
	t.Helper()
	for {
		page, err := client.ListEvents(t.Context(), request)
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, page.GetEvents()...)
		if request.PageToken = page.GetNextPageToken(); request.PageToken == "" {
			return all
		}
	}
}

// TestAcknowledgeRefused asks for what cannot be.
func TestAcknowledgeRefused(t *testing.T) {
	rig := servicetest.New(t, servicetest.Retained)
	client := ampledgerv1.NewAbuseServiceClient(rig.Connect())
	abuse(rig, 1)
	rig.Flush()
	seen := list(t, client, &ampledgerv1.ListEventsRequest{})[0].GetEventId()
	long := strings.Repeat("x", 1001)
	for name, row := range map[string]struct {
		request       *ampledgerv1.AcknowledgeEventRequest
		code          codes.Code
		reason, field string
	}{
		"nobody":      {&ampledgerv1.AcknowledgeEventRequest{EventId: seen}, codes.InvalidArgument, "BY_MISSING", "by"},
		"a long name": {&ampledgerv1.AcknowledgeEventRequest{EventId: seen, By: long}, codes.InvalidArgument, "TOO_LONG", "by"},
		"a long note": {&ampledgerv1.AcknowledgeEventRequest{EventId: seen, By: "me", Note: long}, codes.InvalidArgument, "TOO_LONG", "note"},
		"no event":    {&ampledgerv1.AcknowledgeEventRequest{By: "me"}, codes.NotFound, "EVENT_UNKNOWN", ""},
		"unknown":     {&ampledgerv1.AcknowledgeEventRequest{EventId: "x", By: "me"}, codes.NotFound, "EVENT_UNKNOWN", ""},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := client.AcknowledgeEvent(t.Context(), row.request)
			refused(t, err, row.code, row.reason, row.field)
		})
	}
	refused(t, fails(t, client.GetWaveform, &ampledgerv1.GetWaveformRequest{EventId: "x"}), codes.NotFound, "EVENT_UNKNOWN", "")
	refused(t, fails(t, client.GetWaveform, &ampledgerv1.GetWaveformRequest{EventId: seen}), codes.NotFound, "WAVEFORM_NEVER", "")
}

// TestEventTokens are good for one log and one question only.
func TestEventTokens(t *testing.T) {
	rig, other := servicetest.New(t, servicetest.Retained), servicetest.New(t, servicetest.Retained)
	client, elsewhere := ampledgerv1.NewAbuseServiceClient(rig.Connect()), ampledgerv1.NewAbuseServiceClient(other.Connect())
	abuse(rig, 2)
	rig.Post()
	page, err := client.ListEvents(t.Context(), &ampledgerv1.ListEventsRequest{PageSize: 1})
	if err != nil {
		t.Fatal(err)
	}
	token := page.GetNextPageToken()
	if _, err := client.ListEvents(t.Context(), &ampledgerv1.ListEventsRequest{PageSize: 3, PageToken: token}); err != nil {
		t.Errorf("another page size: %v", err)
	}
	_, err = elsewhere.ListEvents(t.Context(), &ampledgerv1.ListEventsRequest{PageToken: token})
	refused(t, err, codes.InvalidArgument, "PAGE_TOKEN_INVALID", "page_token")
	for _, request := range []*ampledgerv1.ListEventsRequest{{UnacknowledgedOnly: true, PageToken: token}, {Conductor: "pack", PageToken: token}} {
		_, err = client.ListEvents(t.Context(), request)
		refused(t, err, codes.InvalidArgument, "PAGE_TOKEN_INVALID", "page_token")
	}
	_, err = ampledgerv1.NewChargeServiceClient(rig.Connect()).ListEntries(t.Context(), &ampledgerv1.ListEntriesRequest{PageToken: token})
	refused(t, err, codes.InvalidArgument, "PAGE_TOKEN_INVALID", "page_token")
}
