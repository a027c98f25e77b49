package pipeline

import (
	"math"

	"github.com/ampledger/ampledger/daemon/metrology/stability"
)

// mostRestReadings is how many values of a channel are kept of a window; an even number. With more readings each value is the mean of 2, 4, 8 …: what is
// done with them takes time with their square if they hang together.
const mostRestReadings = 1 << 17

// restReadings are a channel's usable readings of a window.
type restReadings struct {
	log     stability.Log
	size    int // readings that each value is the mean of; 0 = none has come yet
	open    block
	skipped uint64 // unusable
}

// block is a value in the making.
type block struct {
	count          int
	nanos, amperes float64 // sums of the distances from the first reading's
	firstNanos     int64
	firstAmperes   float64
}

// add takes the readings of a summary that began at a monotonic time.
func (r *restReadings) add(begun int64, offsets []int64, amperes []float64) {
	r.size = max(1, r.size)
	for k, y := range amperes {
		if math.IsNaN(y) {
			r.skipped++
			continue
		}
		r.open.add(begun+offsets[k], y)
		if r.open.count == r.size {
			r.log.Nanos = append(r.log.Nanos, r.open.firstNanos+int64(r.open.nanos/float64(r.size)))
			r.log.Amperes = append(r.log.Amperes, r.open.firstAmperes+r.open.amperes/float64(r.size))
			r.open = block{}
		}
		if len(r.log.Nanos) == mostRestReadings {
			r.halve()
		}
	}
}

func (b *block) add(nanos int64, amperes float64) {
	if b.count == 0 {
		b.firstNanos, b.firstAmperes = nanos, amperes
	}
	b.count++
	b.nanos += float64(nanos - b.firstNanos)
	b.amperes += amperes - b.firstAmperes
}

// halve makes one value of two. It comes when no block is open.
func (r *restReadings) halve() {
	half := len(r.log.Nanos) / 2
	for i := range half {
		a, b := r.log.Nanos[2*i], r.log.Nanos[2*i+1]
		r.log.Nanos[i] = a + (b-a)/2
		r.log.Amperes[i] = r.log.Amperes[2*i] + (r.log.Amperes[2*i+1]-r.log.Amperes[2*i])/2
	}
	r.log.Nanos, r.log.Amperes = r.log.Nanos[:half], r.log.Amperes[:half]
	r.size *= 2
}
