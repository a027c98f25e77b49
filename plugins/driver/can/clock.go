package can

import "time"

// clock turns the kernel's time of receiving, which is by the wall clock, into time that goes on while the machine sleeps and does not follow it.
type clock struct {
	boot  int64 // the newest reading, ns
	ahead int64 // what the wall clock is ahead of it, ns
	empty int64 // boot time at which no frame was waiting
	begun bool
}

// read takes a reading of the wall clock between two of the other. What is known of how far the one is ahead stays as long as these readings allow it, so
// that a reading which was interrupted moves no frame.
func (c *clock) read(before, wall, after int64) {
	c.boot = after
	least, most := wall-after, wall-before
	if !c.begun {
		c.begun, c.ahead = true, least+(most-least)/2
	}
	c.ahead = max(least, min(most, c.ahead))
}

// slack is how far the wall clock may be moved without a step between the receiving and the reading of a frame, and what the reading of the clocks
// may be off. Adjustments are at most 500 ppm (adjtimex(2)): 50 µs in the 100 ms that a frame may wait.
const slack = int64(time.Millisecond)

// at gives the time at which a frame was received. It lies between the last time that none was waiting and now; if by the wall clock it does not, that
// clock was set meanwhile, and the frame has the time of its reading, as it has where the kernel does not tell. plain = it needs no word.
func (c *clock) at(wall int64) (at int64, plain bool) {
	if wall == 0 {
		return c.boot, true
	}
	at = wall - c.ahead
	if at < c.empty-slack || at > c.boot+slack {
		return c.boot, false
	}
	return at, true
}
