package modbus

import "time"

// The least and the greatest pause before what failed again is tried once more; a random part of up to half is taken off.
const (
	leastPause = 500 * time.Millisecond
	mostPause  = 10 * time.Second
)

// retry spaces the attempts at what fails. After one failure there is none to wait for: most are passing.
type retry struct {
	failures  int
	notBefore int64 // ns
}

// failed counts a failure; chance is from 0 to 1.
func (r *retry) failed(now int64, chance float64) {
	r.failures++
	if r.failures == 1 {
		r.notBefore = now
		return
	}
	pause := min(leastPause<<min(r.failures-2, 10), mostPause)
	r.notBefore = now + int64(float64(pause)*(1-chance/2))
}

// due tells whether it may be tried.
func (r *retry) due(now int64) bool { return now >= r.notBefore }
