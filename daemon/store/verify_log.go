package store

import (
	"database/sql"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"

	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

var selectRows = "SELECT " + strings.Join(eventColumns, ",") + " FROM events ORDER BY log_sequence"

// log looks for holes in the log and for events that differ from their columns.
func (v *verifying) log() error {
	next := int64(1)
	_, err := collect(v.ctx, v.from, func(rows *sql.Rows) (none struct{}, err error) {
		one, err := scanRow(rows)
		if err != nil {
			return none, err
		}
		at := int64(one.columns.LogSequence)
		if at != next {
			v.add(Fault{LogSequence: next}, "is missing or out of place; %d comes next", at)
		}
		next = at + 1
		v.found.EventCount++
		if !fits(&one.columns, one.encoded) {
			v.add(Fault{LogSequence: at}, "differs from its columns")
		}
		return none, nil
	}, selectRows)
	return v.damage(err, Fault{LogSequence: next})
}

// fits holds an encoded event against its columns.
func fits(columns *ampledgerv1.Event, encoded []byte) bool {
	var event ampledgerv1.Event
	if proto.Unmarshal(encoded, &event) != nil {
		return false
	}
	got, err := rowOf(&event)
	if err != nil {
		return false
	}
	want, err := rowOf(columns)
	last := len(want) - 1
	return err == nil && slices.Equal(got[:last], want[:last])
}
