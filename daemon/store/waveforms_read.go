package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"
)

var selectWaveform = "SELECT " + strings.Join(waveformColumns, ",") + " FROM waveforms WHERE event_id = ?"

// Waveform gives what is known of an event's waveform. ErrNoWaveform: there never was one.
func (r *Reader) Waveform(ctx context.Context, eventID string) (*Waveform, error) {
	w, err := scanWaveform(r.readers.QueryRowContext(ctx, selectWaveform, eventID))
	if errors.Is(err, sql.ErrNoRows) {
		err = ErrNoWaveform
	}
	if err != nil {
		return nil, r.wrap("waveform of event "+eventID, err)
	}
	return w, nil
}

func scanWaveform(row interface{ Scan(...any) error }) (*Waveform, error) {
	var w Waveform
	var first, last sql.Null[uint64]
	err := row.Scan(&w.EventID, &w.Conductor, &w.Channel, &w.State, &w.Shortfall, &w.Epoch, &first, &last, &w.BeforeNanos, &w.AfterNanos, &w.WallNanos)
	if first.Valid && last.Valid {
		w.Kept = &Sequences{first.V, last.V}
	}
	return &w, err
}

const selectFrames = "SELECT first_sequence, last_sequence, frame" + ofWaveform + " LIMIT :limit"

const ofWaveform = ` FROM waveform_frames
	WHERE conductor = :conductor AND channel = :channel AND epoch = :epoch AND first_sequence <= :last AND last_sequence >= :from
	AND first_sequence >= ` + overlapping + ` ORDER BY first_sequence`

// overlapping is where the frame begins that holds :from, so that the index is searched from there.
const overlapping = `(SELECT coalesce(max(first_sequence), 0) FROM waveform_frames
	WHERE conductor = :conductor AND channel = :channel AND epoch = :epoch AND first_sequence <= :from)`

// WaveformFrames gives at most limit frames of a waveform, from the one that holds a sequence on. Its first and last may reach beyond the
// waveform. None are an empty answer and no error.
func (r *Reader) WaveformFrames(ctx context.Context, w *Waveform, from uint64, limit int) ([]WaveformFrame, error) {
	if w.Kept == nil || limit < 1 {
		return nil, r.wrap("waveform frames", fmt.Errorf("%w: %d frames of a waveform with readings %v", ErrInvalid, limit, w.Kept))
	}
	frames, err := collect(ctx, r.readers, func(rows *sql.Rows) (f WaveformFrame, err error) {
		return f, rows.Scan(&f.First, &f.Last, &f.Encoded)
	}, selectFrames, append(w.named(), sql.Named("from", clip(from)), sql.Named("limit", limit))...)
	return frames, r.wrap("waveform frames", err)
}

// named are the arguments that say where a waveform with readings lies.
func (w *Waveform) named() []any {
	return []any{
		sql.Named("conductor", w.Conductor), sql.Named("channel", w.Channel), sql.Named("epoch", clip(w.Epoch)), sql.Named("last", clip(w.Kept.Last)),
	}
}

// WaveformTotals says how many frames of waveforms there are and how many bytes they have.
func (r *Reader) WaveformTotals(ctx context.Context) (frames, bytes int64, err error) {
	frames, bytes, err = totals(ctx, r.readers)
	return frames, bytes, r.wrap("waveform totals", err)
}

func totals(ctx context.Context, from source) (frames, bytes int64, err error) {
	err = from.QueryRowContext(ctx, "SELECT frame_count, frame_bytes FROM waveform_totals").Scan(&frames, &bytes)
	return frames, bytes, err
}
