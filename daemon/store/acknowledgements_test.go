package store_test

import (
	"fmt"
	"testing"

	"github.com/google/go-cmp/cmp"

	"github.com/ampledger/ampledger/daemon/store"
	"github.com/ampledger/ampledger/daemon/store/storetest"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// logEvents stores a change of each event.
func logEvents(t *testing.T, s *store.Store, names ...string) {
	t.Helper()
	var batch store.Batch
	for _, name := range names {
		batch.Events = append(batch.Events, event(name, "pack"))
	}
	must(s.Append(t.Context(), batch))(t)
}

// TestAcknowledge says once that an event was seen, and finds that neither the API nor SQL can say otherwise later.
func TestAcknowledge(t *testing.T) {
	s := storetest.OpenMemory(t)
	logEvents(t, s, "a", "b", "a", "c")
	first := store.Acknowledgement{EventID: "a", WallNanos: 5, By: "Ω", Note: "seen"}
	if before, err := s.Acknowledge(t.Context(), first); before != nil || err != nil {
		t.Fatal(before, err)
	}
	before, err := s.Acknowledge(t.Context(), store.Acknowledgement{EventID: "a", WallNanos: 6, By: "else"})
	if !isOneOf(err, store.ErrAcknowledged) || before == nil || *before != first {
		t.Errorf("a second time: %v, %v", before, err)
	}
	for want, each := range map[error]store.Acknowledgement{store.ErrNoEvent: {EventID: "x", By: "me"}, store.ErrInvalid: {EventID: "b"}} {
		if _, err := s.Acknowledge(t.Context(), each); !isOneOf(err, want) {
			t.Errorf("%+v: %v", each, err)
		}
	}
	if got := must(s.Acknowledgements(t.Context(), []string{"b", "a", "x"}))(t); !cmp.Equal(got, []store.Acknowledgement{first}) {
		t.Errorf("got %+v", got)
	}
	for _, query := range []string{
		"UPDATE acknowledgements SET note = ''", "DELETE FROM acknowledgements",
		"INSERT OR REPLACE INTO acknowledgements VALUES ('a', 1, 'else', '')", "INSERT INTO acknowledgements VALUES ('x', 1, 'me', '')",
	} {
		if _, err := s.Writer().Exec(query); err == nil {
			t.Errorf("%s is taken", query)
		}
	}
}

// TestUnacknowledgedEvents pages through the changes of events that nobody has seen.
func TestUnacknowledgedEvents(t *testing.T) {
	s := storetest.OpenMemory(t)
	logEvents(t, s, "a", "b", "a", "c", "d", "a", "b")
	for _, name := range []string{"a", "d"} {
		must(s.Acknowledge(t.Context(), store.Acknowledgement{EventID: name, By: "me"}))(t)
	}
	said := func(events []*ampledgerv1.Event) (lines []string) {
		for _, e := range events {
			lines = append(lines, fmt.Sprint(e.GetLogSequence(), e.GetEventId()))
		}
		return lines
	}
	if got := said(must(s.UnacknowledgedEvents(t.Context(), 0, "pack", 2))(t)); !cmp.Equal(got, []string{"2b", "4c"}) {
		t.Errorf("the first two: %v", got)
	}
	if got := said(must(s.UnacknowledgedEvents(t.Context(), 4, "", 10))(t)); !cmp.Equal(got, []string{"7b"}) {
		t.Errorf("what follows: %v", got)
	}
	if got := must(s.UnacknowledgedEvents(t.Context(), 0, "string", 10))(t); len(got) != 0 {
		t.Errorf("of another conductor: %v", got)
	}
	if got := must(s.Event(t.Context(), "b"))(t); got.GetLogSequence() != 2 {
		t.Errorf("the first change of b: %v", got)
	}
}
