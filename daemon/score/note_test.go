package score

import (
	"fmt"
	"testing"

	"github.com/google/go-cmp/cmp"

	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// Notes of one kind are one, told apart by way, channel and subject; what is no note is not kept, and what is too much neither.
func TestNotesAreCounted(t *testing.T) {
	j := &judge{}
	own, told := listener{j, "biasfilter"}, listener{j, Oracle}
	note := func(channel, subject, text string) *ampledgerv1.Event {
		return &ampledgerv1.Event{Kind: "note", Channel: channel, Element: subject, Detail: text}
	}
	own.Event(note("a", "rest rejected", "first"))
	own.Event(note("a", "rest rejected", "second"))
	told.Event(note("a", "rest rejected", "third"))
	own.Event(note("b", "rest rejected", "fourth"))
	own.Event(&ampledgerv1.Event{Kind: "saturation", Channel: "a"})
	want := []Note{
		{"biasfilter", "a", "rest rejected", 2, "first"}, {Oracle, "a", "rest rejected", 1, "third"}, {"biasfilter", "b", "rest rejected", 1, "fourth"},
	}
	if diff := cmp.Diff(want, j.notes); diff != "" {
		t.Error(diff)
	}
	for k := range 2 * mostNotes {
		own.Event(note("a", fmt.Sprint(k), ""))
	}
	if len(j.notes) != mostNotes {
		t.Errorf("%d kinds of notes are kept", len(j.notes))
	}
}
