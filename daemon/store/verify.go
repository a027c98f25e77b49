package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"
)

// Verification is what Verify found.
type Verification struct {
	EntryCount uint64
	EventCount uint64
	Head       Head    // the newest entry, as it is stored
	Faults     []Fault // the first 1000, ledger before log
	FaultCount uint64  // all of them; 0 = nothing is wrong

	WaveformFaultCount uint64 // those of waveforms among them: if it is FaultCount, ledger and log are sound
}

// Fault is something wrong, and where.
type Fault struct {
	EntrySequence int64  // 0 = with no single entry; below 0 only where somebody put one
	GapPosition   int64  // of the gap row; 0 = the entry itself
	LogSequence   int64  // 0 = with no single event
	Waveform      bool   // it is with what is kept of readings around events, which neither the ledger nor the log needs
	EventID       string // of the waveform; empty = with no single one
	Text          string
}

// String puts the place in front.
func (f Fault) String() string {
	switch {
	case f.GapPosition != 0:
		return fmt.Sprintf("entry %d, gap %d: %s", f.EntrySequence, f.GapPosition, f.Text)
	case f.EntrySequence != 0:
		return fmt.Sprintf("entry %d: %s", f.EntrySequence, f.Text)
	case f.LogSequence != 0:
		return fmt.Sprintf("event %d: %s", f.LogSequence, f.Text)
	case f.EventID != "":
		return fmt.Sprintf("waveform of event %s: %s", f.EventID, f.Text)
	case f.Waveform:
		return "waveforms: " + f.Text
	}
	return f.Text
}

// listedFaults bounds the faults that are held.
const listedFaults = 1000

// verifying is one run of Verify, in one state of the file.
type verifying struct {
	ctx      context.Context
	from     source
	progress func(done, of uint64)
	found    Verification
}

// Verify reads the whole store, as it was when it began, and lists what is wrong with it: rows that are not as they were chained, missing,
// put in or moved; sums over the index that differ from the entries added up one by one; newest entries cut off, as far as the devices'
// sequences tell; pages, indexes, events, acknowledgements, records of commissioning; readings of waveforms that are gone though they were not dropped. It changes nothing and takes the longer the more is stored; progress, which may be nil,
// hears now and then how many entries are done. An error means that it could not look; damage is no error but a fault.
//
// It cannot see that somebody cut or rewrote the ledger's end and everything that follows from it: for that, hold the chain against a Head
// that was written down elsewhere (ChainAt).
func (r *Reader) Verify(ctx context.Context, progress func(done, of uint64)) (*Verification, error) {
	tx, err := r.readers.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return nil, r.wrap("verify", err)
	}
	v := verifying{ctx: ctx, from: tx, progress: progress}
	for _, part := range []func() error{v.ledger, v.log, v.acknowledgements, v.records, v.totals, v.waveforms, v.references, v.pages} {
		if err = v.damage(part(), Fault{}); err != nil {
			break
		}
	}
	if err = errors.Join(err, tx.Rollback()); err != nil {
		return nil, r.wrap("verify", err)
	}
	return &v.found, nil
}

// Check is Verify for those who only want to know whether all is well. ErrDamaged: it is not; the error lists the faults.
func (r *Reader) Check(ctx context.Context) error {
	found, err := r.Verify(ctx, nil)
	if err != nil || found.FaultCount == 0 {
		return err
	}
	var faults []error
	for _, fault := range found.Faults {
		faults = append(faults, fmt.Errorf("%w: %v", ErrDamaged, fault))
	}
	return r.wrap("check", errors.Join(faults...))
}

// Add notes a fault, for whoever looks for more than Verify does.
func (v *Verification) Add(fault Fault) {
	v.FaultCount++
	if fault.Waveform {
		v.WaveformFaultCount++
	}
	if len(v.Faults) < listedFaults {
		v.Faults = append(v.Faults, fault)
	}
}

// add notes a fault and what it is.
func (v *verifying) add(fault Fault, text string, values ...any) {
	fault.Text = fmt.Sprintf(text, values...)
	v.found.Add(fault)
}

// damage makes a fault of an error that says the file is damaged, and gives back any other.
func (v *verifying) damage(err error, at Fault) error {
	if err == nil || !errors.Is(mark(err), ErrDamaged) {
		return err
	}
	v.add(at, "cannot be read: %v", err)
	return nil
}

// pages lets SQLite look at every page, index and constraint.
func (v *verifying) pages() error { return pragmaCheck(v.ctx, v.from, "integrity_check(100)") }

// references looks for rows that refer to nothing.
func (v *verifying) references() error {
	var count int64
	err := v.from.QueryRowContext(v.ctx, "SELECT count(*) FROM pragma_foreign_key_check").Scan(&count)
	if err == nil && count != 0 {
		v.add(Fault{}, "%d rows refer to nothing", count)
	}
	return err
}

// pragmaCheck runs one of SQLite's own checks, which answer with one row "ok" or with faults.
func pragmaCheck(ctx context.Context, from source, pragma string) error {
	lines, err := collect(ctx, from, func(rows *sql.Rows) (line string, err error) {
		err = rows.Scan(&line)
		return line, err
	}, "PRAGMA "+pragma)
	if err == nil && (len(lines) != 1 || lines[0] != "ok") {
		err = fmt.Errorf("%w: %s", ErrDamaged, strings.Join(lines, "; "))
	}
	return err
}
