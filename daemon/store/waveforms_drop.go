package store

import (
	"context"
	"database/sql"
	"errors"
	"math"
)

// WaveformLimits bound what waveforms may take.
type WaveformLimits struct {
	Bytes    int64  // of all their frames
	FromWall *int64 // onsets before this time are too old; nil = none is
}

// DroppedWaveform is a waveform that is gone.
type DroppedWaveform struct {
	Waveform
	Acknowledged bool  // its event was
	Bytes        int64 // that were freed: those of frames no other waveform reaches over
}

// The next to go: what is too old, or while all take too much any, those of acknowledged events before others, the oldest first.
const selectGoing = `SELECT event_id, a.event_id IS NOT NULL FROM waveforms w LEFT JOIN acknowledgements a USING (event_id)
	WHERE state IN ('complete', 'short') AND first_sequence IS NOT NULL AND (w.wall_nanos < :from OR :crowded)
	ORDER BY a.event_id IS NULL, waveform_number LIMIT 1`

const deleteFrames = `DELETE FROM waveform_frames AS f
	WHERE conductor = :conductor AND channel = :channel AND epoch = :epoch AND first_sequence <= :last AND last_sequence >= :from
	AND first_sequence >= ` + overlapping + `
	AND NOT EXISTS (SELECT 1 FROM waveforms w WHERE w.conductor = f.conductor AND w.channel = f.channel AND w.epoch = f.epoch
		AND w.state <> 'dropped' AND w.first_sequence <= f.last_sequence AND w.last_sequence >= f.first_sequence)`

// DropWaveform drops one waveform that is beyond the limits; nil = none is. One of an acknowledged event goes first, then the oldest. Its
// event stays, and it is known of it that it was dropped and why, which is given. Frames that another waveform reaches over stay as well. It
// is durable on return.
func (s *Store) DropWaveform(ctx context.Context, limits WaveformLimits, why string) (dropped *DroppedWaveform, err error) {
	err = s.write(ctx, "drop waveform", func(tx *sql.Tx) error {
		dropped, err = drop(ctx, tx, limits, why)
		return err
	})
	if err != nil {
		return nil, err
	}
	return dropped, nil
}

func drop(ctx context.Context, tx *sql.Tx, limits WaveformLimits, why string) (*DroppedWaveform, error) {
	_, before, err := totals(ctx, tx)
	if err != nil {
		return nil, err
	}
	going, err := goingOf(ctx, tx, limits, before > limits.Bytes)
	if going == nil || err != nil {
		return nil, err
	}
	if _, err := tx.ExecContext(ctx, "UPDATE waveforms SET state = 'dropped', shortfall = ? WHERE event_id = ?", why, going.EventID); err != nil {
		return nil, err
	}
	if _, err := tx.ExecContext(ctx, deleteFrames, append(going.named(), sql.Named("from", clip(going.Kept.First)))...); err != nil {
		return nil, err
	}
	_, after, err := totals(ctx, tx)
	going.State, going.Shortfall, going.Bytes = WaveformDropped, why, before-after
	return going, err
}

// goingOf picks the next to go; nil = none needs to.
func goingOf(ctx context.Context, tx *sql.Tx, limits WaveformLimits, crowded bool) (*DroppedWaveform, error) {
	from := int64(math.MinInt64)
	if limits.FromWall != nil {
		from = *limits.FromWall
	}
	var name string
	going := new(DroppedWaveform)
	err := tx.QueryRowContext(ctx, selectGoing, sql.Named("from", from), sql.Named("crowded", crowded)).Scan(&name, &going.Acknowledged)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	w, err := scanWaveform(tx.QueryRowContext(ctx, selectWaveform, name))
	if err != nil {
		return nil, err
	}
	going.Waveform = *w
	return going, nil
}
