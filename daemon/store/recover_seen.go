package store

import (
	"database/sql"
	"fmt"
	"strings"
	"unicode/utf8"
)

// Each acknowledgement that was read, and whether it is the only one of an event that is in the log.
var scratchAcknowledgements = "WITH seen AS (SELECT DISTINCT " + strings.Join(acknowledgementColumns, ",") + " FROM scratch.acknowledgements) SELECT " +
	strings.Join(acknowledgementColumns, ",") + `, (SELECT count(*) = 1 FROM seen other WHERE other.event_id = seen.event_id)
	AND EXISTS (SELECT 1 FROM events WHERE events.event_id = seen.event_id) FROM seen ORDER BY event_id, wall_nanos`

var (
	createSalvaged = "CREATE TABLE salvaged_acknowledgements (" + strings.Join(acknowledgementColumns, ",") + ")"
	insertSalvaged = insertion("salvaged_acknowledgements", acknowledgementColumns)
)

// acknowledgements takes over who has seen which event. The rest is kept aside: what is said of an event that is lost, what is said twice and not
// alike, and what was never said so.
func (b *rebuilding) acknowledgements() error {
	aside := 0
	_, err := collect(b.ctx, b.tx, func(rows *sql.Rows) (none struct{}, err error) {
		var a Acknowledgement
		var alone bool
		if err := rows.Scan(&a.EventID, &a.WallNanos, &a.By, &a.Note, &alone); err != nil {
			return none, err
		}
		if !alone || !a.sayable() {
			aside++
			return none, b.exec(insertSalvaged, a.row()...)
		}
		b.SeenCount++
		return none, b.exec(insertAcknowledgement, a.row()...)
	}, scratchAcknowledgements)
	if err != nil {
		return fmt.Errorf("acknowledgements: %w", err)
	}
	b.say("%d acknowledgements are taken over; nothing can tell whether others are lost", b.SeenCount)
	if aside > 0 {
		b.say("%d acknowledgements are of events that are lost, or in doubt, and are kept aside in salvaged_acknowledgements", aside)
	}
	return nil
}

// sayable tells whether the store would have taken it: damage may have made it anything.
func (a *Acknowledgement) sayable() bool {
	return a.EventID != "" && a.By != "" && utf8.ValidString(a.By) && utf8.ValidString(a.Note)
}

func (a *Acknowledgement) row() []any { return []any{a.EventID, a.WallNanos, a.By, a.Note} }
