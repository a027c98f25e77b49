package replay

import (
	"fmt"

	"github.com/ampledger/ampledger/plugins/driver/replay/columns"
)

// batchRows is how many rows of a series are looked at together.
const batchRows = 4096

// lump is rows of a series, as columns. Its memory is used again for the next one.
type lump struct {
	count            int
	times            []int64 // ns
	sequences, walls []int64 // of a recording of the daemon; nil = there are none
	uncertainties    []int64 // of the times, ns; nil = there are none
	inputs           []columns.Values
	floats           [][]float64 // of inputs that are not given bit for bit
	fault            error       // of the row after these; nil = there is none

	nanos []int64 // room for times
}

// read takes over a batch of a series' columns.
func (l *lump) read(p *plan, values []columns.Values, count int, t *timeline, from *columns.Reader) {
	l.count, l.fault = count, nil
	first := len(values) - len(p.inputs)
	if p.series.own {
		l.sequences, l.walls = values[0].Int64s, values[2].Int64s
		l.readOwnTimes(values, t, from)
		if first == len(ownRead) {
			l.readUncertainties(values[4].Int64s, from)
		}
	} else {
		l.readTimes(&values[0], from)
	}
	l.inputs = values[first:]
	if l.floats == nil {
		l.floats = make([][]float64, len(p.inputs))
	}
	for i := range p.inputs {
		l.readFloats(i, p.inputs[i].raw, from, first+i)
	}
}

// stop ends the lump before a row whose value in a column is wrong.
func (l *lump) stop(row int, fault error) {
	if fault != nil && row < l.count {
		l.count, l.fault = row, fault
	}
}

func (l *lump) readTimes(v *columns.Values, from *columns.Reader) {
	nanos, row, err := v.Nanos(l.nanos[:0])
	l.nanos, l.times = nanos, nanos
	if err != nil {
		l.stop(row, from.Fault(row, 0, err))
	}
}

func (l *lump) readFloats(i int, raw bool, from *columns.Reader, column int) {
	if raw {
		return
	}
	floats, row, err := l.inputs[i].Floats(l.floats[i][:0])
	l.floats[i] = floats
	if err != nil {
		l.stop(row, from.Fault(row, column, err))
	}
}

func (l *lump) readUncertainties(nanos []int64, from *columns.Reader) {
	l.uncertainties = nanos
	for k, each := range nanos {
		if each < 0 {
			l.stop(k, from.Fault(k, 4, fmt.Errorf("%d is below 0", each)))
			return
		}
	}
}

// uncertainty gives that of a row's time, ns.
func (l *lump) uncertainty(row int) int64 {
	if l.uncertainties == nil {
		return 0
	}
	return l.uncertainties[row]
}

// timeline follows a recording of the daemon. Where one of its epochs ends, the times of the next go out shifted: they follow on the latest by as
// much as the wall clock went on, and by 1 ns at least. Within an epoch they differ as they are recorded, and those of the first one are
// the recorded ones.
type timeline struct {
	begun                 bool
	epoch, sequence, wall int64 // of the newest row
	latest, shift         int64
}

func (l *lump) readOwnTimes(values []columns.Values, t *timeline, from *columns.Reader) {
	monotonic, epochs := values[1].Int64s, values[3].Int64s
	l.nanos = l.nanos[:0]
	for k := range l.count {
		if t.begun && l.sequences[k] <= t.sequence {
			l.stop(k, from.Fault(k, 0, fmt.Errorf("%d comes after %d: these rows are not one recording in its order", l.sequences[k], t.sequence)))
			break
		}
		l.nanos = append(l.nanos, t.at(monotonic[k], epochs[k], l.walls[k]))
		t.sequence, t.wall = l.sequences[k], l.walls[k]
	}
	l.times = l.nanos
}

// at gives the time at which the next row goes out.
func (t *timeline) at(monotonic, epoch, wall int64) int64 {
	switch {
	case !t.begun:
		t.begun, t.epoch, t.latest = true, epoch, monotonic
	case epoch != t.epoch:
		t.epoch, t.shift = epoch, t.latest+max(wall-t.wall, 1)-monotonic
	}
	at := monotonic + t.shift
	t.latest = max(t.latest, at)
	return at
}
