package replay

import (
	"errors"
	"fmt"
	"math"

	"github.com/ampledger/ampledger/plugins/driver/replay/table"
	"github.com/ampledger/ampledger/plugins/plugin"
)

var errNotACode = errors.New("is beyond the 32 bits of a code")

// batch collects scans into a frame. Its memory is used again for the next one.
type batch struct {
	inputs  []input
	frame   plugin.Frame
	offsets []int64
}

func newBatch(inputs []input) *batch {
	b := &batch{inputs: inputs}
	for range inputs {
		b.frame.Columns = append(b.frame.Columns, &plugin.Column{})
	}
	return b
}

func (b *batch) count() int { return len(b.offsets) }

// add appends one scan. If a cell cannot be read it gives the cell's column, and the batch is as before.
func (b *batch) add(at int64, cells [][]byte) (column int, err error) {
	scan := len(b.offsets)
	for i := range b.inputs {
		in := &b.inputs[i]
		if err := in.append(b.frame.Columns[i], scan, cells[in.column]); err != nil {
			b.cut(scan)
			return in.column, err
		}
	}
	if scan == 0 {
		b.frame.FirstMonotonicNanos = at
	}
	b.offsets = append(b.offsets, at-b.frame.FirstMonotonicNanos)
	return -1, nil
}

// addRun appends the rows i … j-1 of a lump. If a value cannot be given, the rows before it are appended; good tells how many, and column
// which input it was.
func (b *batch) addRun(rows *lump, i, j int, shift int64) (good, column int, err error) {
	scan := len(b.offsets)
	for c := range b.inputs {
		appended, fault := b.inputs[c].appendRun(b.frame.Columns[c], scan, rows, c, i, j)
		if fault != nil {
			j, column, err = i+appended, c, fault
		}
	}
	if err != nil {
		b.cut(scan + j - i)
	}
	if scan == 0 && j > i {
		b.frame.FirstMonotonicNanos = rows.times[i] + shift
	}
	for _, at := range rows.times[i:j] {
		b.offsets = append(b.offsets, at+shift-b.frame.FirstMonotonicNanos)
	}
	return j - i, column, err
}

// finish completes the frame. Scans at equal intervals are given by their period.
func (b *batch) finish(sequence uint64) *plugin.Frame {
	b.frame.FirstSequence, b.frame.ScanCount = sequence, uint32(len(b.offsets))
	b.frame.PeriodNanos, b.frame.OffsetNanos = period(b.offsets), b.offsets
	if b.frame.PeriodNanos > 0 {
		b.frame.OffsetNanos = nil
	}
	return &b.frame
}

// period gives the interval if it is the same throughout and above zero, else 0.
func period(offsets []int64) int64 {
	if len(offsets) < 2 || offsets[1] <= 0 {
		return 0
	}
	for i := 2; i < len(offsets); i++ {
		if offsets[i]-offsets[i-1] != offsets[1] {
			return 0
		}
	}
	return offsets[1]
}

func (b *batch) reset() {
	b.offsets = b.offsets[:0]
	b.cut(0)
}

// cut leaves the columns with the values of a number of scans.
func (b *batch) cut(scans int) {
	for _, column := range b.frame.Columns {
		column.Codes = column.Codes[:min(scans, len(column.Codes))]
		column.Values = column.Values[:min(scans, len(column.Values))]
		for n := len(column.AbsentIndices); n > 0 && int(column.AbsentIndices[n-1]) >= scans; n-- {
			column.AbsentIndices = column.AbsentIndices[:n-1]
		}
	}
}

// append adds the value in a cell to the input's column.
func (in *input) append(to *plugin.Column, scan int, cell []byte) error {
	value, present := 0.0, len(cell) > 0
	if present {
		number, err := table.ParseNumber(cell)
		if err != nil {
			return err
		}
		// The conversion keeps processors with a fused instruction from rounding once where others round twice.
		value = float64(number*in.scale) + in.offset
	}
	return in.give(to, scan, value, present)
}

// appendRun adds the values of the rows i … j-1 of a lump to the input's column, or those before the first that cannot be given.
func (in *input) appendRun(to *plugin.Column, scan int, rows *lump, c, i, j int) (appended int, err error) {
	values := &rows.inputs[c]
	absent := values.Absent
	if in.raw {
		if in.code {
			to.Codes = append(to.Codes, values.Int32s[i:j]...)
		} else {
			to.Values = append(to.Values, values.Float64s[i:j]...)
		}
		for k := i; k < j && absent != nil; k++ {
			if absent[k] {
				to.AbsentIndices = append(to.AbsentIndices, uint32(scan+k-i))
			}
		}
		return j - i, nil
	}
	for k := i; k < j; k++ {
		value := float64(rows.floats[c][k]*in.scale) + in.offset
		if err := in.give(to, scan+k-i, value, absent == nil || !absent[k]); err != nil {
			return k - i, err
		}
	}
	return j - i, nil
}

// give adds one converted value to the input's column.
func (in *input) give(to *plugin.Column, scan int, value float64, present bool) error {
	if in.code {
		return in.appendCode(to, scan, value, present)
	}
	if !present {
		to.AbsentIndices, value = append(to.AbsentIndices, uint32(scan)), 0
	}
	to.Values = append(to.Values, value)
	return nil
}

func (in *input) appendCode(to *plugin.Column, scan int, value float64, present bool) error {
	if !present || math.IsNaN(value) {
		to.AbsentIndices = append(to.AbsentIndices, uint32(scan))
		to.Codes = append(to.Codes, 0)
		return nil
	}
	code := math.RoundToEven(value)
	if !in.CodeRangeKnown && (code < in.least || code > in.most) {
		return fmt.Errorf("%v %w", value, errNotACode)
	}
	to.Codes = append(to.Codes, int32(min(max(code, in.least), in.most)))
	return nil
}
