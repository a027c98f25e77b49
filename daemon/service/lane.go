package service

import "slices"

// place is a point between two readings of a channel.
type place struct {
	count uint64 // readings of the channel before it
	next  uint64 // sequence after the one before it
}

// lane is how far a channel has come in a hub.
type lane struct {
	origin  uint64 // sequence of the first reading
	newest  place
	evicted place // behind what is no longer retained
	runs    []run // stretches of sequences without a hole, oldest first
}

// run is where a stretch of sequences without a hole begins.
type run struct{ first, preceding uint64 }

// keptRuns is how many of them are remembered; older readings can no longer be counted exactly.
const keptRuns = 4096

func newLane(e *entry) *lane {
	at := place{e.preceding, e.first}
	return &lane{origin: e.first, newest: at, evicted: at}
}

// before is the place in front of a frame.
func (e *entry) before() place { return place{e.preceding, e.first} }

// end is the place behind a frame.
func (e *entry) end() place { return place{e.preceding + e.count, e.last + 1} }

// advance moves behind a frame.
func (l *lane) advance(e *entry) {
	if len(l.runs) == 0 || e.first != l.newest.next {
		if len(l.runs) == keptRuns {
			l.runs = slices.Delete(l.runs, 0, keptRuns/4)
		}
		l.runs = append(l.runs, run{e.first, e.preceding})
	}
	l.newest = e.end()
}

// missing counts the readings from a sequence up to a place behind it. Of sequences from before the channel's first reading, or so
// old that they are forgotten, it is not known which had readings: all of them are counted.
func (l *lane) missing(sequence uint64, end place) uint64 {
	oldest := l.runs[0]
	switch {
	case end.count < oldest.preceding:
		return end.next - sequence
	case sequence < oldest.first:
		return oldest.first - sequence + end.count - oldest.preceding
	}
	return end.count - l.preceding(sequence)
}

// preceding counts the readings before a sequence that is not older than the oldest run.
func (l *lane) preceding(sequence uint64) uint64 {
	after, _ := slices.BinarySearchFunc(l.runs, sequence, func(r run, sequence uint64) int {
		if r.first <= sequence {
			return -1
		}
		return 1
	})
	in, stop := l.runs[after-1], l.newest.count
	if after < len(l.runs) {
		stop = l.runs[after].preceding
	}
	return min(in.preceding+sequence-in.first, stop)
}
