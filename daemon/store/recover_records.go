package store

import (
	"database/sql"
	"fmt"
	"strings"
)

var scratchRecords = "SELECT DISTINCT " + strings.Join(recordColumns, ",") + " FROM scratch.commissioning ORDER BY record_sequence"

// records takes the records of commissioning over. Each that is lost leaves one in its place that says so, and nothing else: what was in force then
// is for somebody to apply again.
func (b *rebuilding) records() error {
	next, saved, lost := int64(1), 0, 0
	_, err := collect(b.ctx, b.tx, func(rows *sql.Rows) (none struct{}, err error) {
		row, err := recordRowOf(rows)
		if err != nil {
			return none, err
		}
		at, is := row[0].(int64)
		if !is || at < next || !isRecord(row) {
			return none, nil
		}
		for ; next < at; next++ {
			lost++
			if err := b.exec(insertRecord, next, "", "", lostRecord, 0, "", "", nil, []byte{}); err != nil {
				return none, err
			}
		}
		next++
		saved++
		return none, b.exec(insertRecord, row...)
	}, scratchRecords)
	if err != nil {
		return fmt.Errorf("records of commissioning: %w", err)
	}
	b.say("%d records of commissioning up to %d are taken over; nothing can tell whether later ones are lost", saved, next-1)
	if lost > 0 {
		b.say("%d records of commissioning are lost; the file says so in their places: look what is in force, and apply it again if need be", lost)
	}
	return nil
}
