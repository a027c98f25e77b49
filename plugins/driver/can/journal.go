package can

import (
	"fmt"
	"log"
)

// trouble is what may be wrong with a frame.
type trouble uint8

const (
	tooShort trouble = iota
	wrongSum
	beyond
	standing
	lost
	backwards
	stepped
	kinds
)

var troubles = [kinds]string{
	tooShort:  "shorter than described, its values are absent",
	wrongSum:  "its checksum does not fit, its values are absent",
	beyond:    "its counter is above the greatest it has, its values are absent",
	standing:  "its counter stands still, its values are absent",
	lost:      "lost, by its counter or its period",
	backwards: "its time is before that of the frame before it",
	stepped:   "the wall clock, by which the kernel stamps, was set meanwhile: it has the time of its reading",
}

// quietNanos is how long a trouble is counted before it is said again.
const quietNanos = 10e9

// journal tells standard error what the frames cannot say. It says a trouble when it begins, and then its count at most once in a while.
type journal struct {
	to   *log.Logger
	name string // of the message
	kept [kinds]tally
}

// tally counts what is said at most once in a while.
type tally struct {
	count int64
	said  bool
	at    int64 // when it was said, ns
}

// add counts, and gives what has been counted when it is to be said, else 0.
func (t *tally) add(count, at int64) (say int64) {
	t.count += count
	if t.said && at-t.at < quietNanos && at >= t.at {
		return 0
	}
	t.said, t.at = true, at
	return t.take()
}

// take gives what was counted and not said.
func (t *tally) take() (count int64) {
	count, t.count = t.count, 0
	return count
}

// note counts frames in trouble.
func (j *journal) note(t trouble, frames, at int64) { j.say(t, j.kept[t].add(frames, at)) }

func (j *journal) say(t trouble, frames int64) {
	if frames > 0 {
		j.to.Printf("message %s: %s: %s", j.name, plural(frames, "frame"), troubles[t])
	}
}

// end says what was counted and not said.
func (j *journal) end() {
	for t := range kinds {
		j.say(t, j.kept[t].take())
	}
}

func plural(n int64, of string) string {
	if n == 1 {
		return "1 " + of
	}
	return fmt.Sprintf("%d %ss", n, of)
}
