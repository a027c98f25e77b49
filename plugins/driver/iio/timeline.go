package iio

import "math"

// timeline gives buffered scans their times and sequences.
type timeline struct {
	interval float64 // nominal, ns
	stamped  bool    // the scans have times of their own
	sequence uint64  // of the next scan
	last     int64   // time of the scan before, or of the reading before where there are no stamps
	begun    bool    // there was one
}

// steps gives the whole intervals from one time to a later one, 0 where it is not later.
func (t *timeline) steps(from, to int64) uint64 {
	if to <= from {
		return 0
	}
	return uint64(math.Round(float64(uint64(to)-uint64(from)) / t.interval))
}

// run takes scans up to the next ones that were lost, and gives the sequence of the first and how many they are, at least one.
func (t *timeline) run(times []int64) (first uint64, scans int) {
	scans = len(times)
	if t.stamped {
		scans = t.unbroken(times)
	}
	first = t.sequence
	t.sequence += uint64(scans)
	return first, scans
}

// unbroken counts the scans that follow each other, and skips the sequences of those lost before the first.
func (t *timeline) unbroken(times []int64) int {
	if steps := t.steps(t.last, times[0]); t.begun && steps > 1 {
		t.sequence += steps - 1
	}
	n, near := 1, int64(t.interval) // most steps are nearer than is worth a division
	for n < len(times) && (uint64(times[n]-times[n-1]) <= uint64(near) || t.steps(times[n-1], times[n]) < 2) {
		n++
	}
	t.last, t.begun = times[n-1], true
	return n
}

// spread gives times to scans without stamps that a reading at now brought; full tells that the buffer may have had no room for more. It
// gives how many scans were lost behind them, and skips the sequences of those lost before.
//
//	all there     last |-----x-----x-----x now      even, so that the charge between two readings has their time exactly
//	buffer full   last |---x---x---x.......now      the newest found no room: at the interval from the reading before
//	much missing  last |...........x---x---x now    the device stood still, as in a sleep: at the interval up to this reading
func (t *timeline) spread(times []int64, now int64, full bool) (lostBehind uint64) {
	scans := uint64(len(times))
	due := t.steps(t.last, now)
	switch {
	case !t.begun:
		t.place(times, now, t.interval)
	case full && due > scans:
		t.place(times, t.last+int64(math.Round(t.interval*float64(scans))), t.interval)
		lostBehind = due - scans
	case due > scans+2+due/20:
		t.sequence += due - scans
		t.place(times, now, t.interval)
	default:
		t.place(times, now, float64(now-t.last)/float64(scans))
	}
	t.last, t.begun = now, true
	return lostBehind
}

// place puts scans at an interval so that the last one is at a time.
func (t *timeline) place(times []int64, end int64, interval float64) {
	for i := range times {
		times[i] = end - int64(math.Round(interval*float64(len(times)-1-i)))
	}
}
