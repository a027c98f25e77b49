package columns

import (
	"errors"
	"fmt"
	"math"

	"github.com/ampledger/ampledger/plugins/driver/replay/table"
)

// Values is a column's part of a batch. One of the slices is set, by the column's type.
type Values struct {
	Int32s   []int32
	Int64s   []int64
	Float32s []float32
	Float64s []float64
	Absent   []bool // as many; nil = every value is there

	field *field
}

// Faults of a value, found by errors.Is.
var (
	ErrInexact = errors.New("is a whole number beyond 2^53, which a double cannot hold exactly")
	ErrNoTime  = errors.New("is absent, every row needs a time")
)

// exact bounds the whole numbers that a double holds exactly.
const exact = 1 << 53

// Floats appends the values to a slice, in which absent ones are 0. A value that a double cannot hold is an error, with its row.
func (v *Values) Floats(to []float64) (_ []float64, row int, err error) {
	switch {
	case v.Float64s != nil:
		return append(to, v.Float64s...), 0, nil
	case v.Float32s != nil:
		return appendFloats(to, v.Float32s), 0, nil
	case v.Int32s != nil && !v.field.unsigned:
		return appendFloats(to, v.Int32s), 0, nil
	case v.Int32s != nil:
		for _, n := range v.Int32s {
			to = append(to, float64(uint32(n)))
		}
		return to, 0, nil
	}
	for k, n := range v.Int64s {
		if n < -exact || n > exact || v.field.negative(n) {
			return to, k, fmt.Errorf("%s %w", v.field.text(n), ErrInexact)
		}
		to = append(to, float64(n))
	}
	return to, 0, nil
}

func appendFloats[N int32 | float32](to []float64, values []N) []float64 {
	for _, n := range values {
		to = append(to, float64(n))
	}
	return to
}

// negative tells that a whole number without a sign has its highest bit set.
func (f *field) negative(n int64) bool { return f.unsigned && n < 0 }

func (f *field) text(n int64) string {
	if f.unsigned {
		return fmt.Sprint(uint64(n))
	}
	return fmt.Sprint(n)
}

// Nanos appends the values as times in ns to a slice. What is none is an error, with its row.
func (v *Values) Nanos(to []int64) (_ []int64, row int, err error) {
	for k, absent := range v.Absent {
		if absent {
			return to, k, ErrNoTime
		}
	}
	switch {
	case v.Int64s != nil:
		return v.wholeNanos(to)
	case v.Int32s != nil:
		for k, n := range v.Int32s {
			whole := int64(n)
			if v.field.unsigned {
				whole = int64(uint32(n))
			}
			if whole > table.MaxSeconds {
				return to, k, fmt.Errorf("%d %w", whole, table.ErrTimeBeyond)
			}
			to = append(to, whole*1e9)
		}
		return to, 0, nil
	case v.Float32s != nil:
		return realNanos(to, v.Float32s)
	}
	return realNanos(to, v.Float64s)
}

// wholeNanos takes whole seconds, or the units of a TIMESTAMP.
func (v *Values) wholeNanos(to []int64) (_ []int64, row int, err error) {
	unit := v.field.unit
	if unit == 0 {
		unit = 1e9
	}
	most := int64(table.MaxSeconds) * (1e9 / unit)
	for k, n := range v.Int64s {
		if n < -most || n > most || v.field.negative(n) {
			return to, k, fmt.Errorf("%s %w", v.field.text(n), table.ErrTimeBeyond)
		}
		to = append(to, n*unit)
	}
	return to, 0, nil
}

// realNanos takes seconds. Whole seconds are split off first, so that multiplying rounds no more than the fraction.
func realNanos[N float32 | float64](to []int64, values []N) (_ []int64, row int, err error) {
	for k, v := range values {
		seconds := float64(v)
		switch {
		case math.IsNaN(seconds):
			return to, k, fmt.Errorf("%v %w", seconds, table.ErrNoTime)
		case math.Abs(seconds) > table.MaxSeconds:
			return to, k, fmt.Errorf("%v %w", seconds, table.ErrTimeBeyond)
		}
		whole, fraction := math.Modf(seconds)
		to = append(to, int64(whole)*1e9+int64(math.Round(fraction*1e9)))
	}
	return to, 0, nil
}
