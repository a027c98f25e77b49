package columns

import (
	"errors"
	"fmt"
	"io"

	"github.com/parquet-go/parquet-go"
)

// cursor goes through one column of one row group after the other.
type cursor struct {
	field *field
	pages parquet.Pages // nil = none is open
	page  parquet.Page  // what left lies in
	left  decoded
	room  room
}

// open begins a row group.
func (c *cursor) open(group parquet.RowGroup) error {
	if err := c.close(); err != nil {
		return err
	}
	c.pages = group.ColumnChunks()[c.field.index].Pages()
	return nil
}

// fill sees to it that there is at least one value.
func (c *cursor) fill() error {
	for c.left.count == 0 {
		parquet.Release(c.page)
		c.page = nil
		page, err := c.pages.ReadPage()
		if errors.Is(err, io.EOF) {
			return fmt.Errorf("%w: the column ends before its row group", ErrDamaged)
		}
		if err != nil {
			return fmt.Errorf("%w: %w", ErrDamaged, err)
		}
		c.page = page
		if c.left, err = c.field.decode(page, &c.room); err != nil {
			return err
		}
	}
	return nil
}

// take cuts n values off the front.
func (c *cursor) take(n int) Values {
	d := &c.left
	v := Values{field: c.field, Int32s: cut(&d.int32s, n), Int64s: cut(&d.int64s, n), Float32s: cut(&d.floats, n), Float64s: cut(&d.reals, n), Absent: cut(&d.absent, n)}
	d.count -= n
	return v
}

func cut[T any](from *[]T, n int) []T {
	if *from == nil {
		return nil
	}
	front := (*from)[:n:n]
	*from = (*from)[n:]
	return front
}

// close lets go of the row group.
func (c *cursor) close() error {
	if c.pages == nil {
		return nil
	}
	parquet.Release(c.page)
	err := c.pages.Close()
	c.pages, c.page, c.left = nil, nil, decoded{}
	return err
}
