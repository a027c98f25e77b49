package replay

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"github.com/ampledger/ampledger/plugins/driver/replay/columns"
	"github.com/ampledger/ampledger/plugins/driver/replay/table"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// surveyRows is how many rows are looked at before the stream, for the rate and for the columns that hold numbers.
const surveyRows = 1000

// kind is what a column has been seen to hold.
type kind uint8

const (
	nothing kind = iota
	number
	text
)

// survey reads the first rows. A fault in a later one than the first is left for the stream to report in its turn.
func (p *plan) survey(ctx context.Context, in *table.Reader) error {
	rows := &rows{Reader: in, where: p.where, window: p.window}
	kinds := make([]kind, len(p.header))
	var times []int64
	for len(times) < surveyRows {
		cells, err := rows.next(ctx)
		var at int64
		if err == nil {
			at, err = rows.time(p.time)
		}
		if err != nil {
			if err := p.surveyEnd(err, len(times)); err != nil {
				return err
			}
			break
		}
		times = append(times, at)
		for i, cell := range cells {
			kinds[i] = kinds[i].after(cell)
		}
	}
	p.rate = medianRate(times)
	if len(p.inputs) == 0 {
		p.takeNumbers(kinds)
	}
	if len(p.inputs) == 0 {
		return fmt.Errorf("%s: no column but the time holds numbers", p.path)
	}
	return nil
}

func (p *plan) surveyEnd(err error, seen int) error {
	_, isFault := errors.AsType[*table.Error](err)
	if _, inSeries := errors.AsType[*columns.Error](err); inSeries {
		isFault = true
	}
	switch {
	case !errors.Is(err, errEnd) && !isFault:
		return err // the context's, or the like
	case seen > 0:
		return nil
	case isFault:
		return err
	case len(p.where) > 0:
		return fmt.Errorf("%s: no row has what setting %q asks for", p.path, "where")
	case p.window.limited:
		return fmt.Errorf("%s: no row lies between %q and %q", p.path, p.window.key(), "to_seconds")
	}
	return fmt.Errorf("%s: no rows, only a header", p.path)
}

// after tells what a column holds by its first cell that is not empty.
func (k kind) after(cell []byte) kind {
	if k != nothing || len(cell) == 0 {
		return k
	}
	if _, err := table.ParseNumber(cell); err != nil {
		return text
	}
	return number
}

// takeNumbers makes an input of every column of numbers that has a name.
func (p *plan) takeNumbers(kinds []kind) {
	for column, kind := range kinds {
		if kind == number && column != p.time && p.header[column] != "" {
			p.inputs = append(p.inputs, input{Input: &plugin.Input{Name: p.header[column], Unit: "1"}, column: column, scale: 1})
		}
	}
}

// medianRate is the rate by the median interval, in Hz; 0 if there is none above zero.
func medianRate(times []int64) float64 {
	if len(times) < 2 {
		return 0
	}
	intervals := make([]int64, len(times)-1)
	for i := range intervals {
		intervals[i] = times[i+1] - times[i]
	}
	slices.Sort(intervals)
	n := len(intervals)
	median := (float64(intervals[(n-1)/2]) + float64(intervals[n/2])) / 2
	if median <= 0 {
		return 0
	}
	return 1e9 / median
}
