package simulate

import "sort"

// duty is the course of the true current: segments one after the other.
type duty struct {
	segments []segment
	ends     []int64 // ns from the start, of each segment
	repeat   bool
}

// segment is one stretch of a duty.
type segment struct {
	shape         shape
	contactorOpen bool
}

// shape gives the current at a time after the segment's start.
type shape interface {
	at(nanos int64) (amperes float64)
}

func (d *duty) add(s segment, nanos int64) {
	d.segments = append(d.segments, s)
	d.ends = append(d.ends, d.length()+nanos)
}

// length is the whole duty's, in ns.
func (d *duty) length() int64 {
	if len(d.ends) == 0 {
		return 0
	}
	return d.ends[len(d.ends)-1]
}

// at gives the current at a time and whether the contactor is open. A segment reaches up to its end and does not include it.
func (d *duty) at(nanos int64) (amperes float64, contactorOpen bool) {
	length := d.length()
	if d.repeat && length > 0 {
		nanos %= length
	}
	if nanos >= length {
		return 0, false
	}
	i := sort.Search(len(d.ends), func(i int) bool { return nanos < d.ends[i] })
	if d.segments[i].contactorOpen {
		return 0, true
	}
	if i > 0 {
		nanos -= d.ends[i-1]
	}
	return d.segments[i].shape.at(nanos), false
}

// hold is a constant current.
type hold float64

func (h hold) at(int64) float64 { return float64(h) }

// ramp is a straight line over its length in ns.
type ramp struct {
	from, to float64
	length   int64
}

func (r ramp) at(nanos int64) float64 {
	return between(r.from, r.to, nanos, r.length)
}

// between goes from one value to the other as nanos goes from 0 to length.
func between(from, to float64, nanos, length int64) float64 {
	return from + float64((to-from)*(float64(nanos)/float64(length)))
}

// sine swings about a mean, upwards first.
type sine struct {
	mean, amplitude float64
	period          int64 // ns
}

func (s sine) at(nanos int64) float64 {
	return s.mean + float64(s.amplitude*wave(nanos, s.period))
}
