package store

import (
	"bytes"
	"database/sql"
	"slices"
	"strings"
)

var (
	selectRecordRows  = "SELECT " + strings.Join(recordColumns, ",") + " FROM commissioning ORDER BY record_sequence"
	selectRecordNames = "SELECT entry_sequence, reason FROM entries WHERE kind = '" + string(Commissioned) + "' ORDER BY entry_sequence"
)

// recordRowOf reads a row of the table as it is.
func recordRowOf(rows *sql.Rows) (row []any, err error) {
	row = make([]any, len(recordColumns))
	to := make([]any, len(row))
	for i := range row {
		to[i] = &row[i]
	}
	return row, rows.Scan(to...)
}

// isRecord holds a row's columns against its body.
func isRecord(row []any) bool {
	body, _ := row[len(row)-1].([]byte)
	record, err := readRecord(0, body)
	if err != nil {
		return false
	}
	record.RecordSha256 = nil
	if row[3] == lostRecord {
		return RecordKind(record) == ""
	}
	want, err := recordRow(record)
	return err == nil && validateRecord(record) == nil && slices.Equal(row[1:len(row)-1], want[1:len(want)-1])
}

// records looks for holes in the records of commissioning, for those that differ from their columns, and for entries of the ledger that name a
// record which is not as it was.
func (v *verifying) records() error {
	sums := map[uint64][]byte{}
	next := int64(1)
	_, err := collect(v.ctx, v.from, func(rows *sql.Rows) (none struct{}, err error) {
		row, err := recordRowOf(rows)
		if err != nil {
			return none, err
		}
		at, _ := row[0].(int64)
		if at != next {
			v.add(Fault{}, "record %d of commissioning is missing or out of place; %d comes next", next, at)
		}
		next = at + 1
		v.record(uint64(at), row, sums)
		return none, nil
	}, selectRecordRows)
	if err != nil {
		return v.damage(err, Fault{})
	}
	return v.recordNames(sums)
}

// record looks at one record behind those whose sums are given, and adds its own; nil = it is lost.
func (v *verifying) record(at uint64, row []any, sums map[uint64][]byte) {
	body, _ := row[len(row)-1].([]byte)
	record, err := readRecord(at, body)
	if sums[at] = record.GetRecordSha256(); row[3] == lostRecord {
		sums[at] = nil
	}
	if !isRecord(row) {
		v.add(Fault{}, "record %d of commissioning differs from its columns", at)
	} else if err == nil && !restsAsItWas(record, sums) {
		v.add(Fault{}, "record %d of commissioning rests on records that are not there as they were", at)
	}
}

func (v *verifying) recordNames(sums map[uint64][]byte) error {
	_, err := collect(v.ctx, v.from, func(rows *sql.Rows) (none struct{}, err error) {
		var at int64
		var reason string
		if err := rows.Scan(&at, &reason); err != nil {
			return none, err
		}
		named, sum := NamedRecord(reason)
		if named == 0 {
			v.add(Fault{EntrySequence: at}, "names no record of commissioning")
		} else if is, has := sums[named]; !has || is != nil && !bytes.Equal(is, sum) {
			v.add(Fault{EntrySequence: at}, "names record %d of commissioning, which is not there as it was", named)
		}
		return none, nil
	}, selectRecordNames)
	return v.damage(err, Fault{})
}
