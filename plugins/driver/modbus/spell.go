package modbus

import "time"

// How long nothing is said of a read that goes on to fail: each time twice as long.
const (
	leastSilence = 10 * time.Second
	mostSilence  = time.Hour
)

// spell decides when to say that a read fails: at once, then ever less often, so that neither a dead server nor a bad line fills the log.
type spell struct {
	polls   int // lost and not yet said
	silence time.Duration
	until   int64 // nothing is said, ns
}

// lost counts a poll without a value and gives how many are to be said, 0 for none now.
func (s *spell) lost(now int64) (polls int) {
	s.polls++
	if now < s.until {
		return 0
	}
	s.silence = min(max(2*s.silence, leastSilence), mostSilence)
	s.until = now + int64(s.silence)
	polls, s.polls = s.polls, 0
	return polls
}

// over ends the spell: the next is said sooner.
func (s *spell) over() { s.silence = 0 }
