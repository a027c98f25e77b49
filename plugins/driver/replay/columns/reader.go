package columns

import (
	"errors"
	"fmt"
	"io"
	"math"

	"github.com/parquet-go/parquet-go"
)

// Reader gives the rows of some columns of a File in their order.
type Reader struct {
	file    *File
	cursors []cursor
	values  []Values
	groups  []parquet.RowGroup // not begun yet
	left    int64              // rows of the row group at hand
	row     int64              // rows given before the newest batch
	newest  int64              // and with it
}

// Read gives a reader of columns, by their places in the header. They must be numeric. The caller closes it.
func (f *File) Read(columns []int) *Reader {
	r := &Reader{file: f, cursors: make([]cursor, len(columns)), values: make([]Values, len(columns)), groups: f.read.RowGroups()}
	for i, column := range columns {
		r.cursors[i].field = &f.fields[column]
	}
	return r
}

// Next gives the next rows, 1 to most of them, as one Values a column, which hold until the following call; io.EOF after the last.
func (r *Reader) Next(most int) (values []Values, rows int, err error) {
	err = guarded(func() error {
		rows, err = r.next(most)
		return err
	})
	if err == nil || errors.Is(err, errEnd) {
		r.row, r.newest = r.newest, r.newest+int64(rows)
	}
	if errors.Is(err, errEnd) {
		return nil, 0, io.EOF
	}
	if err != nil {
		return nil, 0, r.located(err)
	}
	return r.values, rows, nil
}

// errEnd is the proper end; io.EOF may come from within the library, and then is a fault.
var errEnd = errors.New("no more rows")

// located gives an error its place, if it has none.
func (r *Reader) located(err error) error {
	if _, has := errors.AsType[*Error](err); has {
		return err
	}
	return &Error{Name: r.file.name, Row: r.newest + 1, Err: err}
}

func (r *Reader) next(most int) (int, error) {
	for r.left == 0 {
		if len(r.groups) == 0 {
			return 0, errEnd
		}
		if err := r.begin(); err != nil {
			return 0, err
		}
	}
	rows := int(min(r.left, int64(most)))
	for i := range r.cursors {
		c := &r.cursors[i]
		if err := c.fill(); err != nil {
			return 0, &Error{Name: r.file.name, Row: r.newest + 1, Column: c.field.name, Err: err}
		}
		rows = min(rows, c.left.count)
	}
	for i := range r.cursors {
		r.values[i] = r.cursors[i].take(rows)
	}
	r.left -= int64(rows)
	return rows, nil
}

// begin opens the next row group.
func (r *Reader) begin() error {
	group := r.groups[0]
	r.groups, r.left = r.groups[1:], group.NumRows()
	if r.left < 0 || r.left > math.MaxInt64-r.newest {
		return fmt.Errorf("%w: a row group of %d rows", ErrDamaged, r.left)
	}
	for i := range r.cursors {
		if err := r.cursors[i].open(group); err != nil {
			return err
		}
	}
	return nil
}

// Fault says that a row of the newest batch, counted from 0, is wrong in one of the columns that are read.
func (r *Reader) Fault(row, column int, err error) error {
	return &Error{Name: r.file.name, Row: r.row + int64(row) + 1, Column: r.cursors[column].field.name, Err: err}
}

// Close lets go of what the reader holds, and leaves the file open.
func (r *Reader) Close() error {
	var faults []error
	for i := range r.cursors {
		faults = append(faults, guarded(r.cursors[i].close))
	}
	return errors.Join(faults...)
}
