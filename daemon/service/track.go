package service

import ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"

// track follows what one subscriber got of one channel, to tell exactly what it lost.
type track struct {
	channel string
	hub     *Hub
	from    *uint64 // sequence that was asked for and not reached yet; nil = what lies behind at is the subscriber's
	begun   bool    // at is known; else the subscriber gets the channel from its very first reading
	at      place
}

// before tells whether a frame lies wholly before where the subscriber begins.
func (t *track) before(e *entry) bool { return t.from != nil && e.last < *t.from }

// cut is how many readings of a frame lie before where the subscriber begins.
func (t *track) cut(e *entry) uint64 {
	if t.from == nil || *t.from < e.first {
		return 0
	}
	return *t.from - e.first
}

// pass moves on to a frame and gives what lies lost before it, if anything does.
func (t *track) pass(e *entry) *ampledgerv1.Lost {
	lost := t.lostBefore(e.before(), e.origin)
	t.from, t.begun, t.at = nil, true, e.end()
	return lost
}

// finish gives what was lost after the newest frame the subscriber got, when no more will come.
func (t *track) finish() *ampledgerv1.Lost {
	end, origin, begun := t.hub.newest(t.channel)
	if !begun {
		return nil
	}
	return t.lostBefore(end, origin)
}

func (t *track) lostBefore(end place, origin uint64) *ampledgerv1.Lost {
	lost := &ampledgerv1.Lost{Channel: t.channel, FirstSequence: t.at.next, LastSequence: end.next - 1}
	switch {
	case t.from != nil && *t.from < end.next:
		lost.FirstSequence, lost.ReadingCount = *t.from, t.hub.missing(t.channel, *t.from, end)
	case t.from != nil:
		return nil
	case !t.begun:
		lost.FirstSequence, lost.ReadingCount = origin, end.count
	default:
		lost.ReadingCount = end.count - t.at.count
	}
	if lost.ReadingCount == 0 {
		return nil // the device skipped these sequences itself
	}
	return lost
}
