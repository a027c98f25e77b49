package service

import ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"

// track follows what one subscriber got of one channel, to tell exactly what it lost.
type track struct {
	channel string
	open    bool   // it is settled from where on readings are the subscriber's
	known   bool   // next is known
	count   uint64 // readings of the channel that came before next
	next    uint64 // sequence the subscriber is to get next
}

// trackLive follows a subscriber that gets whatever comes after now.
func trackLive(channel string, end laneEnd, begun bool) *track {
	return &track{channel: channel, open: true, known: begun, count: end.count, next: end.last + 1}
}

// pass moves on to a frame and gives what lies lost before it, if anything does.
func (t *track) pass(e *entry) *ampledgerv1.Lost {
	var lost *ampledgerv1.Lost
	if t.open && e.preceding > t.count {
		if !t.known {
			t.next = e.origin
		}
		lost = t.lost(e.first-1, e.preceding-t.count)
	}
	t.open, t.known, t.count, t.next = true, true, e.preceding+e.count, e.last+1
	return lost
}

// startAt is for a subscriber that asked for a sequence: gone tells that the frame lies wholly before it; what was asked for and is
// retained no more is lost. How many of those sequences had readings is not known any more, so all are counted.
func (t *track) startAt(sequence uint64, e *entry) (lost *ampledgerv1.Lost, gone bool) {
	switch {
	case t.open:
		return nil, false
	case e.last < sequence:
		return nil, true
	case e.first > sequence:
		t.next = sequence
		return t.lost(e.first-1, e.first-sequence), false
	}
	return nil, false
}

// finish gives what was lost after the newest frame the subscriber got, when the channel has come to its end.
func (t *track) finish(end laneEnd) *ampledgerv1.Lost {
	if !t.open || end.count <= t.count {
		return nil
	}
	if !t.known {
		t.next = end.first
	}
	return t.lost(end.last, end.count-t.count)
}

func (t *track) lost(last, count uint64) *ampledgerv1.Lost {
	return &ampledgerv1.Lost{Channel: t.channel, FirstSequence: t.next, LastSequence: last, ReadingCount: count}
}
