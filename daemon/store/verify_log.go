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

// acknowledgements looks for those of events that are not there.
func (v *verifying) acknowledgements() error {
	_, err := collect(v.ctx, v.from, func(rows *sql.Rows) (none struct{}, err error) {
		var name string
		if err = rows.Scan(&name); err == nil {
			v.add(Fault{}, "acknowledgement of event %q, which is not there", name)
		}
		return none, err
	}, "SELECT event_id FROM acknowledgements a WHERE NOT EXISTS (SELECT 1 FROM events e WHERE e.event_id = a.event_id) ORDER BY event_id")
	return v.damage(err, Fault{})
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
