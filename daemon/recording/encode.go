package recording

import (
	"bytes"
	"fmt"

	"github.com/parquet-go/parquet-go"

	"github.com/ampledger/ampledger/plugins/driver/replay/recorded"
)

// scratchValues is how many values are handed to the library at a time.
const scratchValues = 4096

// encoder makes segments of blocks.
type encoder struct {
	inputs  []string
	codes   []bool // which inputs are codes
	out     bytes.Buffer
	writer  *parquet.GenericWriter[any]
	scratch []parquet.Value
}

func newEncoder(h *recorded.Head, text string) *encoder {
	e := &encoder{scratch: make([]parquet.Value, scratchValues)}
	for _, input := range h.Description.GetInputs() {
		e.inputs, e.codes = append(e.inputs, input.GetName()), append(e.codes, isCode(input))
	}
	e.writer = parquet.NewGenericWriter[any](&e.out, schemaOf(h), parquet.KeyValueMetadata(recorded.Key, text),
		parquet.CreatedBy("ampledger", "", ""), parquet.DataPageStatistics(false), parquet.DataPageVersion(1))
	return e
}

// encode gives a segment, which holds until the next call. A code that is none is an error.
func (e *encoder) encode(b *block) ([]byte, error) {
	e.out.Reset()
	e.out.Write(make([]byte, segmentHeader))
	e.writer.Reset(&e.out)
	if err := e.columns(b); err != nil {
		return nil, err
	}
	if err := e.writer.Close(); err != nil {
		return nil, err
	}
	sealSegment(e.out.Bytes())
	return e.out.Bytes(), nil
}

func (e *encoder) columns(b *block) error {
	to := e.writer.ColumnWriters()
	for i, values := range [...][]int64{b.sequence, b.monotonic, b.wall, b.epoch, nil, b.uncertainty} { // at the place of the flags there are none
		err := e.write(to[i], len(values), func(part []parquet.Value, from int) {
			for k := range part {
				part[k] = parquet.Int64Value(values[from+k])
			}
		})
		if err != nil {
			return err
		}
	}
	err := e.write(to[flagsColumn], b.count(), func(part []parquet.Value, from int) {
		for k := range part {
			part[k] = parquet.Int32Value(b.flags[from+k])
		}
	})
	for i := range b.inputs {
		if err == nil {
			err = e.input(to[len(recorded.Own)+i], i, &b.inputs[i])
		}
	}
	return err
}

// flagsColumn is the place of the flags in recorded.Own.
const flagsColumn = 4

func (e *encoder) input(to *parquet.ColumnWriter, i int, c *column) error {
	value := parquet.DoubleValue
	if e.codes[i] {
		if err := checkCodes(c); err != nil {
			return fmt.Errorf("input %q: %w", e.inputs[i], err)
		}
		value = func(v float64) parquet.Value { return parquet.Int32Value(int32(v)) }
	}
	return e.write(to, len(c.values), func(part []parquet.Value, from int) {
		for k := range part {
			if len(c.absent) > 0 && c.absent[from+k] {
				part[k] = parquet.NullValue()
				continue
			}
			part[k] = value(c.values[from+k]).Level(0, 1, 0)
		}
	})
}

// checkCodes refuses what a column of codes cannot hold. The protocol has no other codes, and a driver may break it.
func checkCodes(c *column) error {
	for k, v := range c.values {
		if float64(int32(v)) != v && (len(c.absent) == 0 || !c.absent[k]) {
			return fmt.Errorf("%v is no code", v)
		}
	}
	return nil
}

// write hands count values to a column, as fill gives them, part by part.
func (e *encoder) write(to *parquet.ColumnWriter, count int, fill func(part []parquet.Value, from int)) error {
	for i := 0; i < count; i += len(e.scratch) {
		part := e.scratch[:min(len(e.scratch), count-i)]
		fill(part, i)
		if _, err := to.WriteRowValues(part); err != nil {
			return err
		}
	}
	return nil
}
