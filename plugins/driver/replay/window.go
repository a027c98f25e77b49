package replay

import (
	"errors"
	"fmt"
	"math"

	"github.com/ampledger/ampledger/plugins/driver/replay/table"
)

// window is a span of the recording's time in ns, both ends in it.
type window struct {
	limited  bool
	column   int // of the time
	from, to int64
	start    int64 // ns after the first row at which the span begins, if it is relative
	relative bool  // from is to be found out at the first row
}

// window settles the span of time that is played.
func (s *settings) window(column int) (window, error) {
	w := window{limited: s.FromSeconds != nil || s.ToSeconds != nil || s.StartSeconds != nil, column: column, from: math.MinInt64, to: math.MaxInt64}
	var faults []error
	for _, end := range []struct {
		key     string
		seconds *float64
		nanos   *int64
	}{{"from_seconds", s.FromSeconds, &w.from}, {"to_seconds", s.ToSeconds, &w.to}, {"start_seconds", s.StartSeconds, &w.start}} {
		switch {
		case end.seconds == nil:
		case math.Abs(*end.seconds) > table.MaxSeconds:
			faults = append(faults, fault(end.key, fmt.Errorf("%v s is not within ±%d", *end.seconds, int64(table.MaxSeconds))))
		default:
			*end.nanos = int64(math.Round(*end.seconds * 1e9))
		}
	}
	w.relative = s.StartSeconds != nil
	switch {
	case w.relative && s.FromSeconds != nil:
		faults = append(faults, fault("start_seconds", errors.New("counts from the first row, from_seconds in the recording's time: give one of them")))
	case w.start < 0:
		faults = append(faults, fault("start_seconds", fmt.Errorf("%v s lies before the first row", *s.StartSeconds)))
	case w.from > w.to:
		faults = append(faults, fault("to_seconds", errors.New("lies before from_seconds")))
	}
	return w, errors.Join(faults...)
}

// key is the setting of its beginning.
func (w *window) key() string {
	if w.relative {
		return "start_seconds"
	}
	return "from_seconds"
}

// begin settles a relative span at the first row.
func (w *window) begin(first int64) {
	if w.relative {
		w.relative, w.from = false, first+w.start
	}
}

// has tells whether a time lies in the window. Times are asked for in the order of the rows.
func (w *window) has(at int64) bool {
	w.begin(at)
	return w.from <= at && at <= w.to
}

// holds tells whether a row lies in the window. One whose time cannot be read does, so that it is reported.
func (w *window) holds(cells [][]byte) bool {
	if !w.limited {
		return true
	}
	at, err := table.ParseSeconds(cells[w.column])
	return err != nil || w.has(at)
}
