package pipeline

import (
	"math"

	"github.com/ampledger/ampledger/daemon/scan"
)

// timespan is a time from the next scan on, by each device's own clock. The conductor's lock guards it.
type timespan struct {
	nanos  int64
	until  map[*side]scan.Clock // the last moment of it, by the device's clock
	over   chan struct{}        // closed when it is over on every device
	isOver bool
	seen   bool // a scan came in it
}

func newTimespan(nanos int64) timespan {
	return timespan{nanos: nanos, until: map[*side]scan.Clock{}, over: make(chan struct{})}
}

// covers gives how many of a span's first scans lie in it, and notes when it is over.
func (t *timespan) covers(s *side, span *scan.Frame, sides int) (scans int) {
	until, begun := t.until[s]
	if !begun {
		until = scan.Clock{Epoch: span.Epoch, Monotonic: span.At(0) + t.nanos}
		t.until[s] = until
	}
	t.seen = true
	for scans < span.Count && span.Epoch == until.Epoch && span.At(scans) <= until.Monotonic {
		scans++
	}
	if scans < span.Count {
		t.end(s, sides)
	}
	return scans
}

// end ends it on one device; a time base that began anew ends it as well.
func (t *timespan) end(s *side, sides int) {
	t.until[s] = scan.Clock{Epoch: math.MaxUint64}
	for _, until := range t.until {
		if until.Epoch != math.MaxUint64 {
			return
		}
	}
	if len(t.until) == sides && !t.isOver {
		t.isOver = true
		close(t.over)
	}
}
