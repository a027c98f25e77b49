package physics

import "sort"

// Duty is the course of the true current: segments one after the other, from time 0 on.
type Duty struct {
	Repeat   bool // begin again after the last; otherwise no current flows then and the contactor is closed
	segments []Segment
	ends     []int64 // ns from the start, of each segment
}

// Segment is one stretch of a duty.
type Segment struct {
	Shape           Shape   // not used while the contactor is open
	ContactorOpen   bool    // so the input says
	StandingAmperes float64 // what flows all the same while it is open
}

// Shape is the course of the current within a segment.
type Shape interface {
	// At gives the current at a time after the segment's start. The hint holds any number, best that of an earlier call: it shortens the
	// way to the result and does not change it.
	At(nanos int64, hint *int) (amperes float64)
}

// Place is where in a duty somebody looked last. It shortens the way to the next place and changes no result.
type Place struct{ segment, within int }

// Add appends a segment of a length in ns, which must be above zero; all together must stay within 2⁶² ns.
func (d *Duty) Add(s Segment, nanos int64) {
	d.segments = append(d.segments, s)
	d.ends = append(d.ends, d.LengthNanos()+nanos)
}

// LengthNanos is the whole duty's, once.
func (d *Duty) LengthNanos() int64 {
	if len(d.ends) == 0 {
		return 0
	}
	return d.ends[len(d.ends)-1]
}

// Segments gives the number of segments.
func (d *Duty) Segments() int { return len(d.segments) }

// At gives the current at a time and whether the contactor is open. A segment reaches up to its end and does not include it.
func (d *Duty) At(nanos int64, near *Place) (amperes float64, contactorOpen bool) {
	length := d.LengthNanos()
	if d.Repeat && nanos >= length && length > 0 {
		nanos %= length
	}
	if nanos >= length {
		return 0, false
	}
	if i := near.segment; nanos >= d.ends[i] || i > 0 && nanos < d.ends[i-1] {
		near.segment = sort.Search(len(d.ends), func(i int) bool { return nanos < d.ends[i] })
	}
	s := &d.segments[near.segment]
	if s.ContactorOpen {
		return s.StandingAmperes, true
	}
	if near.segment > 0 {
		nanos -= d.ends[near.segment-1]
	}
	return s.Shape.At(nanos, &near.within), false
}
