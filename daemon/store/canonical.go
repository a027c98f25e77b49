package store

import (
	"encoding/binary"
	"fmt"
	"math"
)

// The tags of rows and values in canonical bytes, see the package comment.
const (
	tagEntry = 'E'
	tagGap   = 'G'

	tagInteger = 'I'
	tagReal    = 'R'
	tagText    = 'T'
	tagBlob    = 'B'
)

// appendRow appends a row's canonical bytes. Each value is an int64, float64, string, []byte or nil; its place is its column's number.
func appendRow(to []byte, tag byte, values []any) []byte {
	count := len(to) + 1
	to = append(to, tag, 0)
	for column, value := range values {
		if value == nil {
			continue
		}
		to[count]++
		to = appendValue(append(to, byte(column)), value)
	}
	return to
}

func appendValue(to []byte, value any) []byte {
	switch v := value.(type) {
	case int64:
		return binary.BigEndian.AppendUint64(append(to, tagInteger), uint64(v))
	case float64:
		return binary.BigEndian.AppendUint64(append(to, tagReal), math.Float64bits(v))
	case string:
		return append(binary.BigEndian.AppendUint64(append(to, tagText), uint64(len(v))), v...)
	case []byte:
		return append(binary.BigEndian.AppendUint64(append(to, tagBlob), uint64(len(v))), v...)
	}
	panic(fmt.Sprintf("a column cannot hold %T", value))
}

// plain gives what fields point at as a column holds it. SQLite keeps no negative zero, so neither do we.
func plain(fields []any) []any {
	values := make([]any, len(fields))
	for i, field := range fields {
		switch v := field.(type) {
		case *int:
			values[i] = int64(*v)
		case *int64:
			values[i] = *v
		case *uint64:
			values[i] = int64(*v)
		case *float64:
			values[i] = *v
			if *v == 0 {
				values[i] = 0.0
			}
		case *Kind:
			values[i] = string(*v)
		case *string:
			values[i] = *v
		default:
			panic(fmt.Sprintf("no column is a %T", field))
		}
	}
	return values
}
