package query

import (
	"bufio"
	"strconv"

	"github.com/ampledger/ampledger/daemon/pipeline"
	"github.com/ampledger/ampledger/daemon/scan"
)

// readingColumns heads the table of readings. time_s is the device's monotonic time; quality holds the causes that make a reading
// unusable, separated by semicolons, and is empty if it is good; systematic uncertainty of a reading I is hypot(zero, gain_ratio·I).
const readingColumns = "conductor,channel,sequence,time_s,raw,current_a,quality,noise_a,zero_uncertainty_a,gain_uncertainty_ratio,offset_a\n"

// readingTable writes readings as CSV, a row a reading. It allocates nothing for a row.
type readingTable struct {
	to   *bufio.Writer // nil = nobody asked
	row  []byte
	head []byte
	tail []byte
	err  error
}

func newReadingTable(to output) *readingTable {
	if to.Writer == nil {
		return &readingTable{}
	}
	t := &readingTable{to: bufio.NewWriterSize(to, 1<<16)}
	_, t.err = t.to.WriteString(readingColumns)
	return t
}

func (t *readingTable) write(lane *pipeline.Lane, r *scan.Readings) error {
	if t.to == nil || t.err != nil {
		return t.err
	}
	t.head = append(append(append(append(t.head[:0], lane.Conductor...), ','), lane.Name...), ',')
	t.tail = t.tail[:0]
	for _, common := range [...]float64{r.NoiseAmperes, r.ZeroAmperes, r.GainRatio, r.Offset} {
		t.tail = appendFloat(append(t.tail, ','), common)
	}
	for k := range r.Amperes {
		if _, t.err = t.to.Write(t.reading(r, k)); t.err != nil {
			return t.err
		}
	}
	return nil
}

func (t *readingTable) reading(r *scan.Readings, k int) []byte {
	row := append(t.row[:0], t.head...)
	row = strconv.AppendUint(row, r.Sequence+uint64(k), 10)
	row = appendSeconds(append(row, ','), r.At(k))
	row = append(row, ',')
	if r.Raw != nil { // what is made of several channels has no raw value of its own
		row = appendFloat(row, r.Raw[k])
	}
	row = appendFloat(append(row, ','), r.Amperes[k])
	row = append(row, ',')
	if q := r.QualityAt(k); q != 0 {
		for i, name := range q.Names(nil) {
			if i > 0 {
				row = append(row, ';')
			}
			row = append(row, name...)
		}
	}
	row = append(append(row, t.tail...), '\n')
	t.row = row
	return row
}

func (t *readingTable) flush() error {
	if t.to == nil || t.err != nil {
		return t.err
	}
	return t.to.Flush()
}

// appendFloat writes the shortest text that reads back the same; what is no number stays empty.
func appendFloat(to []byte, v float64) []byte {
	if v != v {
		return to
	}
	return strconv.AppendFloat(to, v, 'g', -1, 64)
}

// appendSeconds writes nanoseconds as seconds, exactly.
func appendSeconds(to []byte, nanos int64) []byte {
	if nanos < 0 {
		to = append(to, '-')
		nanos = -nanos
	}
	to = strconv.AppendInt(to, nanos/1e9, 10)
	if fraction := nanos % 1e9; fraction != 0 {
		digits := strconv.AppendInt(nil, fraction+1e9, 10)[1:]
		to = append(to, '.')
		for len(digits) > 0 && digits[len(digits)-1] == '0' {
			digits = digits[:len(digits)-1]
		}
		to = append(to, digits...)
	}
	return to
}
