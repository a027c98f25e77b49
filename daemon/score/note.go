package score

import (
	"slices"

	"github.com/ampledger/ampledger/daemon/pipeline"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// Note is what a way to find the offset had to say in a run, such as that it did not believe a rest; of one kind, all in one.
type Note struct {
	Estimator string // the label
	Channel   string // empty = the conductor
	Subject   string
	Count     int
	First     string // what was said the first time
}

// mostNotes bounds the kinds of notes that are kept of a run.
const mostNotes = 100

// listener is the sink of one variant: the judge's, with an ear for its notes.
type listener struct {
	*judge
	label string
}

var _ pipeline.Sink = listener{}

// Event implements pipeline.Sink.
func (l listener) Event(e *ampledgerv1.Event) {
	if e.GetKind() != "note" {
		return
	}
	notes := l.judge.notes
	i := slices.IndexFunc(notes, func(n Note) bool {
		return n.Estimator == l.label && n.Channel == e.GetChannel() && n.Subject == e.GetElement()
	})
	switch {
	case i >= 0:
		notes[i].Count++
	case len(notes) < mostNotes:
		l.judge.notes = append(notes, Note{Estimator: l.label, Channel: e.GetChannel(), Subject: e.GetElement(), Count: 1, First: e.GetDetail()})
	}
}
