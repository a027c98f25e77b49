package service_test

import (
	"context"
	"fmt"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	"github.com/ampledger/ampledger/daemon/service/servicetest"
	"github.com/ampledger/ampledger/daemon/store"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

type eventsRequest = ampledgerv1.StreamEventsRequest

// abuse lets the shunt's guard see so many short currents of 150 A: each is an event with three changes.
func abuse(rig *servicetest.Rig, times int) {
	for range times {
		rig.FeedAmperes("adc0", 1, 150, 150, 1)
	}
}

// logged gives the log sequences of all events of a conductor.
func logged(t *testing.T, rig *servicetest.Rig, conductor string) (numbers []uint64) {
	t.Helper()
	rig.Flush()
	events, err := rig.Store.Events(t.Context(), 0, conductor, 1e6)
	if err != nil {
		t.Fatal(err)
	}
	for _, event := range events {
		numbers = append(numbers, event.GetLogSequence())
	}
	return numbers
}

// TestListEvents pages through the log.
func TestListEvents(t *testing.T) {
	rig := servicetest.New(t, servicetest.Retained)
	client := ampledgerv1.NewAbuseServiceClient(rig.Connect())
	for n := range 1500 {
		rig.Recorder.Tell(&ampledgerv1.Event{EventId: fmt.Sprint(n), Conductor: []string{"pack", "string"}[n%3/2]})
	}
	for name, row := range map[string]struct {
		conductor string
		size      int32
		pages     []int
	}{
		"default":      {"", 0, []int{100, 100, 100, 100, 100, 100, 100, 100, 100, 100, 100, 100, 100, 100, 100}},
		"three":        {"string", 200, []int{200, 200, 100}},
		"full last":    {"pack", 500, []int{500, 500}},
		"at most 1000": {"", 5000, []int{1000, 500}},
	} {
		t.Run(name, func(t *testing.T) {
			want := logged(t, rig, row.conductor)
			var got []uint64
			var pages []int
			for request := (&ampledgerv1.ListEventsRequest{Conductor: row.conductor, PageSize: row.size}); ; {
				page, err := client.ListEvents(t.Context(), request)
				if err != nil {
					t.Fatal(err)
				}
				pages = append(pages, len(page.GetEvents()))
				for _, event := range page.GetEvents() {
					got = append(got, event.GetLogSequence())
				}
				if request.PageToken = page.GetNextPageToken(); request.PageToken == "" {
					break
				}
			}
			if !cmp.Equal(got, want) || !cmp.Equal(pages, row.pages) {
				t.Errorf("pages of %v with %d events, want %v with %d", pages, len(got), row.pages, len(want))
			}
		})
	}
}

// TestEventsRefused asks for what cannot be answered.
func TestEventsRefused(t *testing.T) {
	rig := servicetest.New(t, servicetest.Retained)
	client := ampledgerv1.NewAbuseServiceClient(rig.Connect())
	for name, row := range map[string]struct {
		request       *ampledgerv1.ListEventsRequest
		code          codes.Code
		reason, field string
	}{
		"unknown conductor":   {&ampledgerv1.ListEventsRequest{Conductor: "tail"}, codes.NotFound, "CONDUCTOR_UNKNOWN", ""},
		"negative page size":  {&ampledgerv1.ListEventsRequest{PageSize: -1}, codes.InvalidArgument, "PAGE_SIZE_INVALID", "page_size"},
		"token of words":      {&ampledgerv1.ListEventsRequest{PageToken: "next"}, codes.InvalidArgument, "PAGE_TOKEN_INVALID", "page_token"},
		"negative token":      {&ampledgerv1.ListEventsRequest{PageToken: "-1"}, codes.InvalidArgument, "PAGE_TOKEN_INVALID", "page_token"},
		"token beyond a word": {&ampledgerv1.ListEventsRequest{PageToken: "9223372036854775808"}, codes.InvalidArgument, "PAGE_TOKEN_INVALID", "page_token"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := client.ListEvents(t.Context(), row.request)
			refused(t, err, row.code, row.reason, row.field)
		})
	}
	refused(t, fails(t, client.StreamEvents, &eventsRequest{Conductor: "tail"}), codes.NotFound, "CONDUCTOR_UNKNOWN", "")
}

// TestStreamEvents carries each change twice: RAISED, then RECORDED with its place in the log.
func TestStreamEvents(t *testing.T) {
	rig := servicetest.New(t, servicetest.Retained)
	client := ampledgerv1.NewAbuseServiceClient(rig.Connect())
	s := open(t, client.StreamEvents, &eventsRequest{Conductor: "pack"})
	other := open(t, client.StreamEvents, &eventsRequest{Conductor: "string"})
	abuse(rig, 3)
	rig.Flush()
	rig.Backend.Events.Close()
	items, err := s.rest()
	refused(t, err, codes.Unavailable, "STOPPING", "")
	raised, log := map[string]bool{}, uint64(0)
	for _, item := range items {
		event := item.GetEvent()
		change := event.GetEventId() + event.GetState().String()
		switch item.GetDelivery() {
		case ampledgerv1.Delivery_DELIVERY_RAISED:
			if raised[change] || event.GetLogSequence() != 0 {
				t.Errorf("raised again or with a place in the log: %v", event)
			}
			raised[change] = true
		case ampledgerv1.Delivery_DELIVERY_RECORDED:
			if log++; !raised[change] || event.GetLogSequence() != log {
				t.Errorf("recorded before it was raised or out of order: %v", event)
			}
		}
	}
	if len(raised) != 9 || log != 9 || len(items) != 18 {
		t.Errorf("%d changes raised, %d recorded, in %d messages", len(raised), log, len(items))
	}
	if items, _ := other.rest(); len(items) != 0 {
		t.Errorf("another conductor's events: %v", items)
	}
	if err := fails(t, client.StreamEvents, &eventsRequest{}); err == nil {
		t.Error("a stream begins though the daemon stops")
	}
}

// TestResumeEvents begins behind a place in the log while changes go on: each later one is recorded once, in order.
func TestResumeEvents(t *testing.T) {
	rig := servicetest.New(t, servicetest.Retained)
	client := ampledgerv1.NewAbuseServiceClient(rig.Connect())
	abuse(rig, 700) // 2100 changes: more than two pages of the log
	rig.Flush()
	var streams []stream[ampledgerv1.StreamEventsResponse]
	starts := []uint64{0, 1, 1000, 2099, 2100}
	for _, after := range starts {
		streams = append(streams, open(t, client.StreamEvents, &eventsRequest{AfterLogSequence: &after}))
		abuse(rig, 10)
	}
	want := logged(t, rig, "")
	for i, s := range streams {
		raised := map[string]bool{}
		for next := starts[i] + 1; next <= uint64(len(want)); {
			item := s.next()
			event := item.GetEvent()
			change := event.GetEventId() + event.GetState().String()
			if item.GetDelivery() == ampledgerv1.Delivery_DELIVERY_RAISED {
				raised[change] = true
				continue
			}
			if event.GetLogSequence() != next {
				t.Fatalf("after %d: %d came, %d was due", starts[i], event.GetLogSequence(), next)
			}
			delete(raised, change)
			next++
		}
		if len(raised) != 0 {
			t.Errorf("after %d: %d changes were raised and not recorded, or raised after they were recorded", starts[i], len(raised))
		}
	}
}

// busyLedger lets something happen just before events are read.
type busyLedger struct {
	*store.Store
	before func()
}

// Events implements service.Ledger.
func (l *busyLedger) Events(ctx context.Context, after uint64, conductor string, limit int) ([]*ampledgerv1.Event, error) {
	l.before()
	return l.Store.Events(ctx, after, conductor, limit)
}

// TestOvertakenEvents records a change between the moment the stream begins to listen and the moment it reads the log: it comes as
// recorded only, and once.
func TestOvertakenEvents(t *testing.T) {
	rig := servicetest.New(t, servicetest.Retained)
	rig.Backend.Ledger = &busyLedger{rig.Store, func() {
		abuse(rig, 1)
		rig.Flush()
	}}
	client := ampledgerv1.NewAbuseServiceClient(rig.Connect())
	s := open(t, client.StreamEvents, &eventsRequest{AfterLogSequence: proto.Uint64(0)})
	for log := range uint64(3) {
		if item := s.next(); item.GetEvent().GetLogSequence() != log+1 {
			t.Fatalf("got %v, want change %d of the log", item, log+1)
		}
	}
	rig.Backend.Events.Raised(&ampledgerv1.Event{EventId: "next", Conductor: "pack"})
	if item := s.next(); item.GetEvent().GetEventId() != "next" {
		t.Errorf("got %v again", item)
	}
}

// TestSlowEventSubscriber is told how many changes it lost, also if none comes after them.
func TestSlowEventSubscriber(t *testing.T) {
	rig := servicetest.New(t, servicetest.Retained)
	client := ampledgerv1.NewAbuseServiceClient(rig.Connect())
	s := open(t, client.StreamEvents, &eventsRequest{})
	const changes = 20000 // more than queue and connection hold
	for n := range changes {
		rig.Backend.Events.Raised(&ampledgerv1.Event{EventId: fmt.Sprint(n), Conductor: "pack", Detail: string(make([]byte, 100))})
	}
	got, lost := uint64(0), uint64(0)
	for got+lost < changes {
		item := s.next()
		lost += item.GetLostCount()
		if item.GetEvent() == nil {
			continue
		}
		if want := fmt.Sprint(got + lost); item.GetEvent().GetEventId() != want {
			t.Fatalf("change %s came, %s was due", item.GetEvent().GetEventId(), want)
		}
		got++
	}
	if got+lost != changes || lost == 0 {
		t.Errorf("%d changes came and %d were lost, of %d", got, lost, changes)
	}
	rig.Backend.Events.Raised(&ampledgerv1.Event{EventId: "next", Conductor: "pack"})
	if item := s.next(); item.GetEvent().GetEventId() != "next" || item.GetLostCount() != 0 {
		t.Errorf("after the losses: %v", item)
	}
}
