package can

import (
	"log"
	"time"

	"github.com/ampledger/ampledger/plugins/driver/can/wire"
)

// watch follows one message: whether its frames come, and whether they are to be believed.
type watch struct {
	*message
	pace    pace
	journal journal

	seen   bool
	silent bool  // that was said
	at     int64 // time of the newest frame, or of the start where there was none
}

func newWatch(m *message, to *log.Logger) watch {
	w := watch{message: m, journal: journal{to: to, name: m.name}, pace: pace{periodNanos: float64(m.periodNanos)}}
	if m.counter != nil {
		w.pace.values = m.counter.values
	}
	return w
}

// take looks at a frame, and gives what it tells of those before it and whether its values are to be believed.
func (w *watch) take(f *wire.Frame, at int64) (step, bool) {
	w.hear(at)
	s, good := w.follow(f.Payload(), at)
	if s.frames > 1 {
		w.journal.note(lost, s.frames-1, at)
	}
	return s, good
}

// follow checks the length, then the checksum, then the counter: each means something only if the one before it is right.
func (w *watch) follow(data []byte, at int64) (step, bool) {
	if len(data) < w.bytes {
		w.journal.note(tooShort, 1, at)
		return w.pace.blind(at), false
	}
	if w.sum != nil && !w.sum.fits(data) {
		w.journal.note(wrongSum, 1, at)
		return w.pace.blind(at), false
	}
	if w.counter == nil {
		return w.pace.blind(at), true
	}
	count := int64(w.counter.field.Unsigned(data))
	if count >= w.counter.values {
		w.journal.note(beyond, 1, at)
		return w.pace.blind(at), false
	}
	s := w.pace.counter(at, count)
	if s.repeated {
		w.journal.note(standing, 1, at)
	}
	return s, !s.repeated
}

// hear notes that a frame came.
func (w *watch) hear(at int64) {
	switch {
	case w.silent:
		w.journal.to.Printf("message %s comes again, after %v", w.name, time.Duration(at-w.at))
	case w.seen && at < w.at:
		w.journal.note(backwards, 1, at)
	}
	w.seen, w.silent, w.at = true, false, at
}

// look says once that the message has not come for too long.
func (w *watch) look(now int64) {
	w.at = min(w.at, now) // where the time has run backwards, silence begins anew
	if w.silent || now-w.at <= w.silentNanos {
		return
	}
	w.silent = true
	since := "has not come for"
	if !w.seen {
		since = "has not come since the start,"
	}
	w.journal.to.Printf("message %s %s %v: see whether its sender is connected and its identifier is right; its values are absent", w.name, since, time.Duration(now-w.at))
}
