package service

import (
	"fmt"
	"testing"

	"github.com/google/go-cmp/cmp"

	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// change gives a change of an event.
func change(name string, log uint64) *ampledgerv1.Event {
	return &ampledgerv1.Event{EventId: name, LogSequence: log, Conductor: "pack"}
}

// taken writes down what a subscriber that has the log up to sent takes: a name, its place in the log, what was lost before.
func taken(e *Events, to *ear, sent uint64) (changes []string) {
	responses, _ := e.take(to, sent)
	for _, r := range responses {
		changes = append(changes, fmt.Sprintf("%s#%d-%d", r.GetEvent().GetEventId(), r.GetEvent().GetLogSequence(), r.GetLostCount()))
	}
	return changes
}

// TestOvertaken reads from the log what is queued as well: what was sent as recorded is not sent as raised, nor recorded again.
func TestOvertaken(t *testing.T) {
	e := NewEvents()
	to := e.subscribe("")
	for _, name := range []string{"a", "b", "c"} {
		e.Raised(change(name, 0))
	}
	e.Recorded(change("a", 7))
	e.Recorded(change("b", 8))
	e.overtaken(to, change("a", 7)) // sent from the log, as the next one is
	e.overtaken(to, change("b", 8))
	e.Recorded(change("b", 8)) // told after it was read
	e.Recorded(change("c", 9))
	if got := taken(e, to, 8); !cmp.Equal(got, []string{"c#0-0", "c#9-0"}) {
		t.Errorf("got %v", got)
	}
	if got := taken(e, to, 9); got != nil {
		t.Errorf("got %v again", got)
	}
}

// TestLostCount keeps the count of what is lost when the message that tells it is left out, and tells it when nothing else comes.
func TestLostCount(t *testing.T) {
	e := NewEvents()
	to := e.subscribe("pack")
	fill := func() {
		for range eventQueue + 3 {
			e.Raised(change("old", 0))
		}
		e.Raised(&ampledgerv1.Event{Conductor: "string"}) // not this subscriber's
	}
	fill()
	if got := taken(e, to, 0); len(got) != eventQueue {
		t.Fatalf("%d changes are queued", len(got))
	}
	if got := taken(e, to, 0); !cmp.Equal(got, []string{"#0-3"}) {
		t.Errorf("lost with nothing behind: %v", got)
	}
	if got := taken(e, to, 0); got != nil {
		t.Errorf("told again: %v", got)
	}

	fill()
	e.overtaken(to, change("old", 1)) // makes room
	e.Recorded(change("x", 5))        // says that 3 were lost, and is left out
	if got := taken(e, to, 5); !cmp.Equal(got, []string{"#0-3"}) {
		t.Errorf("the count is gone with its message: %v", got)
	}
	fill()
	e.overtaken(to, change("old", 1))
	e.Recorded(change("x", 5))
	e.Recorded(change("y", 6))
	if got := taken(e, to, 5); !cmp.Equal(got, []string{"y#6-3"}) {
		t.Errorf("the count does not move on: %v", got)
	}
}
