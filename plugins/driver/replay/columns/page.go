package columns

import (
	"fmt"

	"github.com/parquet-go/parquet-go"
)

// number is what a column may hold.
type number interface {
	int32 | int64 | float32 | float64
}

// decoded is the values of one page, or what is left of them. One of the slices is set.
type decoded struct {
	int32s []int32
	int64s []int64
	floats []float32
	reals  []float64
	absent []bool // nil = every value is there
	count  int
}

// room is memory for pages that cannot be given as they lie in the library's.
type room struct {
	int32s []int32
	int64s []int64
	floats []float32
	reals  []float64
	absent []bool
}

// decode gives a page's values.
func (f *field) decode(page parquet.Page, room *room) (d decoded, err error) {
	data, d := page.Data(), decoded{count: int(page.NumRows())}
	levels := page.DefinitionLevels()
	if f.present > 0 && countPresent(levels, f.present) < d.count {
		d.absent = f.absences(levels, room)
	}
	var indices *[]int32
	if dictionary := page.Dictionary(); dictionary != nil {
		into := data.Int32()
		indices, data = &into, dictionary.Page().Data()
	}
	switch f.kind {
	case parquet.Int32:
		d.int32s, err = spread(data.Int32(), indices, &d, &room.int32s)
	case parquet.Int64:
		d.int64s, err = spread(data.Int64(), indices, &d, &room.int64s)
	case parquet.Float:
		d.floats, err = spread(data.Float(), indices, &d, &room.floats)
	default:
		d.reals, err = spread(data.Double(), indices, &d, &room.reals)
	}
	return d, err
}

func countPresent(levels []byte, present byte) (n int) {
	for _, level := range levels {
		if level == present {
			n++
		}
	}
	return n
}

func (f *field) absences(levels []byte, room *room) []bool {
	room.absent = room.absent[:0]
	for _, level := range levels {
		room.absent = append(room.absent, level != f.present)
	}
	return room.absent
}

// spread puts every value at its row: looked up in the dictionary if there are indices into one, 0 where it is absent.
func spread[N number](values []N, indices *[]int32, d *decoded, room *[]N) ([]N, error) {
	present := d.count
	for _, absent := range d.absent {
		if absent {
			present--
		}
	}
	have := len(values)
	if indices != nil {
		have = len(*indices)
	}
	if have != present || (d.absent != nil && len(d.absent) != d.count) {
		return nil, fmt.Errorf("%w: a page has %d values for %d rows", ErrDamaged, have, present)
	}
	if indices == nil && d.absent == nil {
		return values, nil
	}
	to := (*room)[:0]
	for row, next := 0, 0; row < d.count; row++ {
		var value N
		if d.absent == nil || !d.absent[row] {
			at := next
			if indices != nil {
				at = int((*indices)[next])
			}
			value, next = values[at], next+1
		}
		to = append(to, value)
	}
	*room = to
	return to, nil
}
