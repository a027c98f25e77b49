package simulate

import (
	"errors"
	"fmt"
	"io"
	"slices"

	"github.com/ampledger/ampledger/plugins/driver/replay/table"
	"github.com/ampledger/ampledger/plugins/driver/simulate/physics"
)

// mostPoints bounds the memory of a recorded shape, which is held whole.
const mostPoints = 4_000_000

var errTooLong = fmt.Errorf("a recorded segment has %d rows at most", mostPoints)

// readRecorded reads a column of a recording, the first one being the time by default. Rows without a current are passed over.
// Of an error it gives the setting that is to blame.
func readRecorded(path, column, timeColumn string, scale float64) (r *physics.Recorded, key string, err error) {
	file, err := table.Open(path)
	if err != nil {
		return nil, "file", err
	}
	defer file.Close()
	header := file.Header()
	at, timeAt := slices.Index(header, column), 0
	if at < 0 {
		return nil, "column", fmt.Errorf("%s has no column %q, only %q", path, column, header)
	}
	if timeColumn != "" {
		timeAt = slices.Index(header, timeColumn)
	}
	if timeAt < 0 {
		return nil, "time_column", fmt.Errorf("%s has no column %q, only %q", path, timeColumn, header)
	}
	r = &physics.Recorded{}
	if err := readPoints(file.Reader, at, timeAt, scale, r); err != nil {
		return nil, "file", err
	}
	if r.LengthNanos() == 0 {
		return nil, "file", fmt.Errorf("%s: two rows at different times are needed", path)
	}
	return r, "", nil
}

func readPoints(in *table.Reader, column, timeColumn int, scale float64, to *physics.Recorded) error {
	var first int64
	for {
		cells, err := in.Next()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		if len(cells[column]) == 0 {
			continue
		}
		nanos, err := table.ParseSeconds(cells[timeColumn])
		if err != nil {
			return in.Fault(timeColumn, err)
		}
		if to.Points() == 0 {
			first = nanos
		}
		amperes, err := table.ParseNumber(cells[column])
		if err != nil {
			return in.Fault(column, err)
		}
		if err := to.Add(nanos-first, float64(amperes*scale)); err != nil {
			return in.Fault(-1, err)
		}
		if to.Points() > mostPoints {
			return in.Fault(-1, errTooLong)
		}
	}
}
