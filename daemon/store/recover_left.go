package store

import (
	"database/sql"
	"fmt"

	"github.com/ampledger/ampledger/daemon/store/pages"
)

// leftKinds are the rows that are not taken over, by what they look like; a row is known by its first columns.
var leftKinds = []struct {
	name  string
	shape string
	key   int // columns
}{
	{"waveforms", "ITTTTTIiiIII", 2},
	{"frames of waveforms", "TTIIIB", 4},
	{"estimators' snapshots", "TTIB", 2},
	{"clocks", "ITII", 1},
}

// createLeft makes the table of what is left behind: a row may be read from several pages and counts once.
const createLeft = "CREATE TABLE scratch.left_behind (kind INTEGER, key TEXT, PRIMARY KEY (kind, key)) WITHOUT ROWID"

// leave notes a row that is left behind.
func (b *rebuilding) leave(row pages.Row) error {
	for kind, left := range leftKinds {
		if !row.Keyed && matches(row.Values, left.shape) {
			return b.exec("INSERT OR IGNORE INTO scratch.left_behind VALUES (?, ?)", kind, fmt.Sprintf("%q", row.Values[:left.key]))
		}
	}
	return nil
}

// behind reports how much is left behind.
func (b *rebuilding) behind() error {
	counts := make([]uint64, len(leftKinds))
	_, err := collect(b.ctx, b.tx, func(rows *sql.Rows) (none struct{}, err error) {
		var kind, count uint64
		if err = rows.Scan(&kind, &count); err == nil {
			counts[kind] = count
		}
		return none, err
	}, "SELECT kind, count(*) FROM scratch.left_behind GROUP BY kind")
	if err != nil {
		return err
	}
	line := "left behind, since nothing can tell whether they are as they were written (those dropped earlier may be among them):"
	for kind, left := range leftKinds {
		line += fmt.Sprintf(" %d %s,", counts[kind], left.name)
	}
	b.say("%s", line[:len(line)-1])
	return nil
}
