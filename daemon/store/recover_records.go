package store

import (
	"database/sql"
	"fmt"
	"strings"
)

var scratchRecords = "SELECT DISTINCT " + strings.Join(recordColumns, ",") + " FROM scratch.commissioning ORDER BY record_sequence"

// mostLostRecords is beyond how many records that are lost in a row an entry cannot be taken at its word.
const mostLostRecords = 1 << 20

// recordWalk fills the table of records from its first place on.
type recordWalk struct {
	*rebuilding
	next        int64
	saved, lost int
}

// records takes the records of commissioning over. Each that is lost leaves one in its place that says so, and nothing else: what was in force then
// is for somebody to apply again. Of those behind the newest one that could be read the ledger's entries tell, if they were ever in force.
func (b *rebuilding) records() error {
	w := recordWalk{rebuilding: b, next: 1}
	if _, err := collect(b.ctx, b.tx, w.place, scratchRecords); err != nil {
		return fmt.Errorf("records of commissioning: %w", err)
	}
	named, err := w.named()
	if err == nil && named-w.next < mostLostRecords {
		err = w.lose(named + 1)
	}
	if err != nil {
		return fmt.Errorf("records of commissioning: %w", err)
	}
	b.say("%d records of commissioning up to %d are taken over; later ones may be lost that no entry names", w.saved, w.next-1)
	if w.lost > 0 {
		b.say("%d records of commissioning are lost; the file says so in their places: look what is in force, and apply it again if need be", w.lost)
	}
	return nil
}

// place takes a record over, if it is one.
func (w *recordWalk) place(rows *sql.Rows) (none struct{}, err error) {
	row, err := recordRowOf(rows)
	if err != nil {
		return none, err
	}
	at, is := row[0].(int64)
	if !is || at < w.next || !isRecord(row) {
		return none, nil
	}
	if err := w.lose(at); err != nil {
		return none, err
	}
	w.next++
	w.saved++
	return none, w.exec(insertRecord, row...)
}

// lose says of the places before one that their records are lost.
func (w *recordWalk) lose(before int64) error {
	for ; w.next < before; w.next++ {
		w.lost++
		if err := w.exec(insertRecord, w.next, "", "", lostRecord, 0, "", "", nil, []byte{}); err != nil {
			return err
		}
	}
	return nil
}

// named gives the last record that an entry of the new ledger names.
func (w *recordWalk) named() (last int64, err error) {
	_, err = collect(w.ctx, w.tx, func(rows *sql.Rows) (none struct{}, err error) {
		var at int64
		var reason string
		if err := rows.Scan(&at, &reason); err != nil {
			return none, err
		}
		named, _ := NamedRecord(reason)
		last = max(last, int64(named))
		return none, nil
	}, selectRecordNames)
	return last, err
}
