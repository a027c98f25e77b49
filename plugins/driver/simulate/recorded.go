package simulate

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"sort"

	"github.com/ampledger/ampledger/plugins/driver/replay/table"
)

// mostPoints bounds the memory of a recorded shape, which is held whole.
const mostPoints = 4_000_000

// recorded is a current taken from a recording, straight between its rows.
type recorded struct {
	nanos   []int64 // after the first row, never falling
	amperes []float64
}

func (r *recorded) length() int64 { return r.nanos[len(r.nanos)-1] }

// at gives the current at a time within the recording. Of rows with the same time the last one counts.
func (r *recorded) at(nanos int64) float64 {
	next := sort.Search(len(r.nanos), func(i int) bool { return r.nanos[i] > nanos })
	if next == len(r.nanos) {
		return r.amperes[next-1]
	}
	start := r.nanos[next-1]
	return between(r.amperes[next-1], r.amperes[next], nanos-start, r.nanos[next]-start)
}

// readRecorded reads a column of a recording, the first one being the time by default. Rows without a current are passed over.
// Of an error it gives the setting that is to blame.
func readRecorded(path, column, timeColumn string, scale float64) (r *recorded, key string, err error) {
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
	r = &recorded{}
	if err := r.read(file.Reader, at, timeAt, scale); err != nil {
		return nil, "file", err
	}
	if len(r.nanos) == 0 || r.length() == 0 {
		return nil, "file", fmt.Errorf("%s: two rows at different times are needed", path)
	}
	return r, "", nil
}

func (r *recorded) read(in *table.Reader, column, timeColumn int, scale float64) error {
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
		if len(r.nanos) == 0 {
			first = nanos
		}
		amperes, err := table.ParseNumber(cells[column])
		if err != nil {
			return in.Fault(column, err)
		}
		if err := r.add(nanos-first, float64(amperes*scale)); err != nil {
			return in.Fault(-1, err)
		}
	}
}

func (r *recorded) add(nanos int64, amperes float64) error {
	switch {
	case len(r.nanos) == mostPoints:
		return fmt.Errorf("a recorded segment has %d rows at most", mostPoints)
	case amperes-amperes != 0:
		return errors.New("the current is not finite")
	case len(r.nanos) > 0 && nanos < r.length():
		return errors.New("the time runs backwards, a recorded segment needs it in order")
	}
	r.nanos, r.amperes = append(r.nanos, nanos), append(r.amperes, amperes)
	return nil
}
