package store

import (
	"database/sql"
	"strings"
)

var (
	selectKept = "SELECT " + strings.Join(waveformColumns, ",") + " FROM waveforms WHERE state <> 'dropped' AND first_sequence IS NOT NULL ORDER BY waveform_number"

	// A total that is missing counts as nothing.
	selectTotals = `SELECT (SELECT coalesce(sum(frame_count), 0) FROM waveform_totals), (SELECT coalesce(sum(frame_bytes), 0) FROM waveform_totals),
	(SELECT count(*) FROM waveform_frames), (SELECT coalesce(sum(length(frame)), 0) FROM waveform_frames)`
)

// Whether the ledger knows of so many readings that never came between two others; it knows nothing where it does not reach yet.
const selectLost = `SELECT coalesce(max(last_sequence), 0) <= :last OR
	coalesce(sum(lost_count) FILTER (WHERE last_sequence >= :first AND first_sequence <= :last + 1), 0) >= :last - :first + 1
	FROM entries WHERE conductor = :conductor AND channel = :channel AND epoch = :epoch AND kind = 'interval'`

// totals holds what triggers counted of frames against what is there.
func (v *verifying) totals() error {
	var counted, bytes, found, sum int64
	err := v.from.QueryRowContext(v.ctx, selectTotals).Scan(&counted, &bytes, &found, &sum)
	if err == nil && (counted != found || bytes != sum) {
		v.add(Fault{Waveform: true}, "%d frames of %d bytes were counted, %d of %d are there", counted, bytes, found, sum)
	}
	return v.damage(err, Fault{Waveform: true})
}

// waveforms looks for readings of each waveform that was not dropped. What is missing is a fault of the waveform: the ledger and the log stand
// without it.
func (v *verifying) waveforms() error {
	kept, err := collect(v.ctx, v.from, func(rows *sql.Rows) (*Waveform, error) { return scanWaveform(rows) }, selectKept)
	if err != nil {
		return v.damage(err, Fault{Waveform: true})
	}
	for _, w := range kept {
		at := Fault{Waveform: true, EventID: w.EventID}
		missing, err := v.missing(w)
		if err := v.damage(err, at); err != nil {
			return err
		}
		if missing != nil {
			v.add(at, "its readings %d to %d are missing", missing.First, missing.Last)
		}
	}
	return nil
}

// missing gives the first readings of a waveform that no frame holds, less those that never came; nil = all are there.
func (v *verifying) missing(w *Waveform) (*Sequences, error) {
	frames, err := collect(v.ctx, v.from, func(rows *sql.Rows) (s Sequences, err error) { return s, rows.Scan(&s.First, &s.Last) },
		"SELECT first_sequence, last_sequence"+ofWaveform, append(w.named(), sql.Named("from", clip(w.Kept.First)))...)
	next := w.Kept.First
	for _, f := range append(frames, Sequences{First: w.Kept.Last + 1}) {
		hole := Sequences{next, f.First - 1}
		next = max(next, f.Last+1)
		if err != nil || f.First <= hole.First {
			continue
		}
		var never bool
		if never, err = v.never(w, hole); err == nil && !never {
			return &hole, nil
		}
	}
	return nil, err
}

// never tells whether the readings of a hole may never have come. Those that a waveform begins and ends with did.
func (v *verifying) never(w *Waveform, hole Sequences) (may bool, err error) {
	if hole.First == w.Kept.First || hole.Last == w.Kept.Last {
		return false, nil
	}
	err = v.from.QueryRowContext(v.ctx, selectLost, sql.Named("conductor", w.Conductor), sql.Named("channel", w.Channel), sql.Named("epoch", clip(w.Epoch)),
		sql.Named("first", clip(hole.First)), sql.Named("last", clip(hole.Last))).Scan(&may)
	return may, err
}
