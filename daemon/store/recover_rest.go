package store

import (
	"database/sql"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// What numbers are raised by, since more may have been given out than could be read: sequences of a device (an hour at a million scans a
// second) and its epochs. Passing some over does no harm; mostCounted is where a number cannot be one that was ever reached.
const (
	sequencesBeyond = 1 << 32
	epochsBeyond    = 1 << 20
	mostCounted     = 1 << 62
)

var scratchEvents = "SELECT DISTINCT " + strings.Join(eventColumns, ",") + " FROM scratch.events ORDER BY log_sequence"

// log takes the events over. Each that is lost leaves one in its place that says so.
func (b *rebuilding) log() error {
	next := uint64(1)
	_, err := collect(b.ctx, b.tx, func(rows *sql.Rows) (none struct{}, err error) {
		one, err := scanRow(rows)
		if err != nil || one.columns.LogSequence < next || !fits(&one.columns, one.encoded) {
			return none, err
		}
		for ; next < one.columns.LogSequence; next++ {
			if err := b.lost(next); err != nil {
				return none, err
			}
		}
		next++
		b.EventCount++
		return none, b.exec(insertEvent, one.row()...)
	}, scratchEvents)
	if err != nil {
		return fmt.Errorf("events: %w", err)
	}
	b.say("%d events up to %d are taken over; nothing can tell whether later ones are lost", b.EventCount, next-1)
	if b.LostCount > 0 {
		b.say("%d events are lost; the log says so in their places", b.LostCount)
	}
	return nil
}

// lost puts an event in the place of one that could not be read.
func (b *rebuilding) lost(sequence uint64) error {
	b.LostCount++
	row, err := rowOf(&ampledgerv1.Event{
		LogSequence: sequence, EventId: fmt.Sprint("lost-", sequence), Kind: "lost", Detail: "could not be read when the log was recovered",
	})
	if err != nil {
		return err
	}
	return b.exec(insertEvent, row...)
}

// loggedRow is an event as the file holds it.
type loggedRow struct {
	columns ampledgerv1.Event
	encoded []byte
}

func scanRow(rows *sql.Rows) (*loggedRow, error) {
	one := new(loggedRow)
	c := &one.columns
	return one, rows.Scan(&c.LogSequence, &c.EventId, &c.State, &c.Conductor, &c.Channel, &c.Element, &c.Kind, &c.ChangeWallNanos, &one.encoded)
}

func (r *loggedRow) row() []any {
	c := &r.columns
	return []any{c.LogSequence, c.EventId, int64(c.State), c.Conductor, c.Channel, c.Element, c.Kind, c.ChangeWallNanos, r.encoded}
}

// sequences lets every device go on behind all that may have been given out.
func (b *rebuilding) sequences() error {
	for _, name := range slices.Sorted(maps.Keys(b.devices)) {
		d := b.devices[name]
		ledger, err := b.used(name)
		if err != nil {
			return err
		}
		held, epoch := max(d.held, d.used)+sequencesBeyond, d.epoch+epochsBeyond
		if err := b.exec("INSERT INTO devices (device, held_next, used_next, epoch) VALUES (?, ?, ?, ?)", name, held, ledger, epoch); err != nil {
			return err
		}
		b.say("device %s goes on with sequence %d and epoch %d", name, held, epoch+1)
	}
	opening := max(b.opening, time.Now().Unix()) // the daemon does not start once a second
	b.say("starts of the daemon go on behind %d", opening)
	return b.exec("UPDATE daemon SET opening = ?", opening)
}

// used gives the first sequence of a device that no entry of the new ledger covers.
func (b *rebuilding) used(device string) (next int64, err error) {
	err = b.tx.QueryRowContext(b.ctx, "SELECT coalesce(max(last_sequence) + 1, 0) FROM entries WHERE device = ? AND "+covering, device).Scan(&next)
	return next, err
}

// report writes the report into the new file as well.
func (b *rebuilding) report() error {
	if err := b.exec("CREATE TABLE recovery (line TEXT NOT NULL) STRICT"); err != nil {
		return err
	}
	for _, line := range b.Lines {
		if err := b.exec("INSERT INTO recovery VALUES (?)", line); err != nil {
			return err
		}
	}
	return nil
}
