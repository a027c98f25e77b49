package pipeline

import (
	"fmt"
	"time"

	"github.com/ampledger/ampledger/daemon/scan"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// What bounds the notes that become events, which stay in the log for ever.
const (
	sameAfter     = int64(time.Hour) // how long a shadow is not heard again on the same subject: it changes nothing
	mostNotesHour = 120              // of the one in force
)

// subject is what a note is about.
type subject struct{ channel, text string }

// tellNotes makes an event of each thing a shadow had to say, once in a while for each subject.
func (s *shadow) tellNotes(events *eventBook, at *scan.Clock) {
	for _, note := range s.takeNotes() {
		about := subject{note.GetChannel(), note.GetSubject()}
		told, was := s.heard[about]
		if was && at.Wall-told < sameAfter && at.Wall >= told || !was && len(s.heard) >= mostNotes {
			continue
		}
		if s.heard == nil {
			s.heard = map[subject]int64{}
		}
		s.heard[about] = at.Wall
		events.note(s.title(), note, at)
	}
}

// allowance counts the notes of an hour.
type allowance struct {
	since      int64 // wall-clock time at which the hour began
	told, left int
}

// tellNotes makes an event of each thing the estimator in force had to say. If that is too much, it says how much was left out when the hour is
// over.
func (c *Conductor) tellNotes(r *run) {
	a, at := &c.estimation.notes, &c.estimation.newest
	if at.Wall-a.since >= sameAfter || at.Wall < a.since {
		if a.left > 0 {
			c.events.note(r.candidate.Program.Name(), &plugin.Note{
				Subject: "notes left out", Text: fmt.Sprintf("%d notes within an hour, beyond the first %d", a.left, mostNotesHour),
			}, at)
		}
		*a = allowance{since: at.Wall}
	}
	for _, note := range r.takeNotes() {
		if a.told >= mostNotesHour {
			a.left++
			continue
		}
		a.told++
		c.events.note(r.candidate.Program.Name(), note, at)
	}
}
