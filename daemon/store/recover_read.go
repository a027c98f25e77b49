package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"slices"

	"github.com/ampledger/ampledger/daemon/store/pages"
)

// damaged is a file that is only read, with its log.
type damaged struct {
	*pages.File
	files []*os.File
}

func openDamaged(path string) (*damaged, error) {
	d := new(damaged)
	data, size, err := d.open(path)
	if err != nil {
		return nil, err
	}
	log, logSize, err := d.open(path + logSuffix)
	if errors.Is(err, os.ErrNotExist) {
		log, logSize, err = data, 0, nil
	}
	if err == nil {
		d.File, err = pages.Open(data, size, log, logSize)
	}
	if err != nil {
		return nil, errors.Join(err, d.close())
	}
	return d, nil
}

func (d *damaged) open(path string) (file *os.File, size int64, err error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, 0, err
	}
	if !info.Mode().IsRegular() {
		return nil, 0, fmt.Errorf("%s: %w: not a regular file", path, ErrForeign)
	}
	if file, err = os.Open(path); err == nil {
		d.files = append(d.files, file)
	}
	return file, info.Size(), err
}

func (d *damaged) close() (err error) {
	for _, file := range d.files {
		err = errors.Join(err, file.Close())
	}
	return err
}

// rebuilding fills a new store from a damaged one. What is read waits in a scratch database, which SQLite keeps in a temporary file.
type rebuilding struct {
	Recovery
	ctx  context.Context
	from *damaged
	db   *sql.DB // one connection
	tx   *sql.Tx

	found   map[string]uint64 // rows by table
	chained bool              // rows of a schema with a chain were found
	devices map[string]device
	opening int64
}

// device is what is known of a device's sequences.
type device struct{ held, used, epoch int64 }

func newRebuilding(ctx context.Context, from *damaged, path string) *rebuilding {
	return &rebuilding{
		ctx: ctx, from: from, db: connect(address(path)+common, 1), found: map[string]uint64{}, devices: map[string]device{},
	}
}

// run does all of it in one transaction.
func (b *rebuilding) run(progress func(done, of uint64)) error {
	if _, err := b.db.ExecContext(b.ctx, "ATTACH '' AS scratch"); err != nil {
		return err
	}
	return transact(b.ctx, b.db, func(tx *sql.Tx) error {
		b.tx = tx
		if err := b.scan(progress); err != nil {
			return err
		}
		for _, part := range []func() error{b.ledger, b.aside, b.log, b.acknowledgements, b.records, b.sequences, b.behind, b.report} {
			if err := part(); err != nil {
				return err
			}
		}
		return nil
	})
}

// exec runs a statement in the transaction.
func (b *rebuilding) exec(query string, arguments ...any) error {
	_, err := b.tx.ExecContext(b.ctx, query, arguments...)
	return err
}

// scan reads every page into the scratch tables.
func (b *rebuilding) scan(progress func(done, of uint64)) error {
	creations := []string{createLeft, createSalvaged}
	for _, table := range scratchTables {
		creations = append(creations, table.create())
	}
	for _, creation := range creations {
		if err := b.exec(creation); err != nil {
			return err
		}
	}
	for page := range b.from.PageCount() {
		if err := b.from.Rows(page+1, b.row); err != nil {
			return err
		}
		if progress != nil && page%1000 == 0 {
			progress(uint64(page), uint64(b.from.PageCount()))
		}
	}
	if b.found["entries"]+b.found["gaps"]+b.found["events"] == 0 {
		return fmt.Errorf("%w: not one row of a ledger was found in %d pages", ErrForeign, b.from.PageCount())
	}
	return nil
}

// row keeps a row that looks like one of ours.
func (b *rebuilding) row(row pages.Row) error {
	if !row.Keyed && len(row.Values) > 0 && row.Values[0] == nil {
		row.Values[0] = row.RowID
	}
	for _, table := range scratchTables {
		if table.keyed == row.Keyed && table.takes(row.Values) {
			b.found[table.name]++
			b.chained = b.chained || table.name == "entries" && len(row.Values) == len(table.columns)
			missing := make([]any, len(table.columns)-len(row.Values))
			return b.exec(table.insertion, slices.Concat(row.Values, missing)...)
		}
	}
	b.count(row)
	return b.leave(row)
}

// count notes a row that holds numbers to go on behind.
func (b *rebuilding) count(row pages.Row) {
	switch v := row.Values; {
	case row.Keyed && matches(v, "TIII"):
		name, seen := v[0].(string), device{v[1].(int64), v[2].(int64), v[3].(int64)}
		if max(seen.held, seen.used, seen.epoch) < mostCounted {
			b.devices[name] = b.devices[name].beyond(seen)
		}
	case !row.Keyed && (matches(v, "II") || matches(v, "IIB")) && row.RowID == 1 && v[1].(int64) < mostCounted:
		b.opening = max(b.opening, v[1].(int64))
	}
}

// beyond is what lies behind both.
func (d device) beyond(other device) device {
	return device{max(d.held, other.held), max(d.used, other.used), max(d.epoch, other.epoch)}
}
