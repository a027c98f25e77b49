package replay

import (
	"context"
	"errors"
	"io"

	"github.com/ampledger/ampledger/plugins/driver/replay/table"
)

// rows are the rows of a recording that the conditions let through.
type rows struct {
	*table.Reader
	where []condition
	window
	cells [][]byte
	read  uint
}

// errEnd ends a stream as it should end. It is no io.EOF, which may come from whoever takes the frames and then is a failure.
var errEnd = errors.New("end of the recording")

// next gives the next row; errEnd after the last.
func (r *rows) next(ctx context.Context) ([][]byte, error) {
	for {
		// Rows that are passed over must not make the stream deaf.
		if r.read++; r.read%1024 == 0 && ctx.Err() != nil {
			return nil, context.Cause(ctx)
		}
		cells, err := r.Next()
		if errors.Is(err, io.EOF) {
			return nil, errEnd
		}
		if err != nil {
			return nil, err
		}
		if r.wanted(cells) && r.holds(cells) {
			r.cells = cells
			return cells, nil
		}
	}
}

func (r *rows) wanted(cells [][]byte) bool {
	for _, c := range r.where {
		if string(cells[c.column]) != c.text {
			return false
		}
	}
	return true
}

var errNoTime = errors.New("empty, every row needs a time in seconds")

// time reads the newest row's time in ns.
func (r *rows) time(column int) (int64, error) {
	if len(r.cells[column]) == 0 {
		return 0, r.Fault(column, errNoTime)
	}
	nanos, err := table.ParseSeconds(r.cells[column])
	if err != nil {
		return 0, r.Fault(column, err)
	}
	return nanos, nil
}
