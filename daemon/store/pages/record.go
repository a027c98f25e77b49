package pages

import (
	"encoding/binary"
	"math"
)

// mostColumns is how many columns a record may have: SQLite's own limit.
const mostColumns = 32767

// record reads the values of a row.
func record(data []byte) (values []any, ok bool) {
	size, at := varint(data, 0)
	if at <= 0 || size < int64(at) || size > int64(len(data)) {
		return nil, false
	}
	body := data[size:]
	for at < int(size) {
		var serial int64
		if serial, at = varint(data[:size], at); at <= 0 || serial < 0 || len(values) == mostColumns {
			return nil, false
		}
		length := serialLength(serial)
		if length < 0 || length > int64(len(body)) {
			return nil, false
		}
		value, known := serialValue(serial, body[:length])
		if !known {
			return nil, false
		}
		values, body = append(values, value), body[length:]
	}
	return values, len(body) == 0
}

// serialLength is how many bytes a value of a serial type takes.
func serialLength(serial int64) int64 {
	switch {
	case serial >= 12:
		return (serial - 12) / 2
	case serial == 5:
		return 6
	case serial == 6 || serial == 7:
		return 8
	case serial <= 4:
		return serial
	}
	return 0
}

// serialValue reads a value; false = a type that is not in files.
func serialValue(serial int64, data []byte) (any, bool) {
	switch {
	case serial == 0:
		return nil, true
	case serial <= 6:
		v := int64(int8(data[0]))
		for _, b := range data[1:] {
			v = v<<8 | int64(b)
		}
		return v, true
	case serial == 7:
		return math.Float64frombits(binary.BigEndian.Uint64(data)), true
	case serial == 8 || serial == 9:
		return serial - 8, true
	case serial < 12:
		return nil, false
	case serial%2 == 0:
		return append([]byte{}, data...), true
	}
	return string(data), true
}

// varint reads a number of one to nine bytes and gives where the next begins; 0 = there is none.
func varint(data []byte, at int) (value int64, next int) {
	for i := range 9 {
		if at < 0 || at+i >= len(data) {
			return 0, 0
		}
		b := data[at+i]
		if i == 8 {
			return value<<8 | int64(b), at + 9
		}
		value = value<<7 | int64(b&0x7f)
		if b < 0x80 {
			return value, at + i + 1
		}
	}
	return 0, 0
}
