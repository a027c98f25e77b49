package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
)

var (
	// ErrNoWaveform: none was ever taken of the event.
	ErrNoWaveform = errors.New("no waveform")
	// ErrNoRoom: so little is free on the disk that it is left to the ledger.
	ErrNoRoom = errors.New("no room on the disk")
)

// WaveformState is where a waveform stands.
type WaveformState string

// The states. A waveform goes from open to complete or short, and from there to dropped.
const (
	WaveformOpen     WaveformState = "open"     // being taken
	WaveformComplete WaveformState = "complete" // each reading of its time is there
	WaveformShort    WaveformState = "short"    // some are not: Shortfall says why
	WaveformDropped  WaveformState = "dropped"  // it is gone: Shortfall says why
)

// Waveform is the readings around an event's onset, or what is known of them.
type Waveform struct {
	EventID     string
	Conductor   string
	Channel     string
	State       WaveformState
	Shortfall   string     // in words
	Epoch       uint64     // of the device's time base
	Kept        *Sequences // of the readings; nil = none. One that was dropped had these
	BeforeNanos int64      // that were to be kept before the onset
	AfterNanos  int64      // and after it
	WallNanos   int64      // of the onset
}

// Sequences are those of a device from a first to a last.
type Sequences struct{ First, Last uint64 }

// WaveformFrame is readings as they were streamed: an encoded ampledger.v1.StreamReadingsResponse with a frame.
type WaveformFrame struct {
	Sequences
	Encoded []byte
}

// WaveformPart is what there is new of a waveform.
type WaveformPart struct {
	Waveform
	Frames []WaveformFrame
}

var waveformColumns = []string{
	"event_id", "conductor", "channel", "state", "shortfall", "epoch", "first_sequence", "last_sequence", "before_nanos", "after_nanos", "wall_nanos",
}

var (
	upsertWaveform = insertion("waveforms", waveformColumns) + ` ON CONFLICT (event_id) DO UPDATE SET state = excluded.state,
	shortfall = excluded.shortfall, epoch = excluded.epoch, first_sequence = excluded.first_sequence, last_sequence = excluded.last_sequence`
	insertFrame = insertion("waveform_frames", []string{"conductor", "channel", "epoch", "first_sequence", "last_sequence", "frame"}) + " ON CONFLICT DO NOTHING"
)

// PutWaveforms stores parts of waveforms: each waveform in place of what was known of it, its frames beside those it has. A frame that
// another waveform brought already is shared. All of it is durable on return, or nothing; so keep it short, since others wait for the disk.
// ErrNoRoom: less than 16 MB would be left free for the ledger, as far as the system tells. What brings no frames is stored all the same.
func (s *Store) PutWaveforms(ctx context.Context, parts []WaveformPart) error {
	if err := s.leaveRoom(parts); err != nil {
		return s.wrap("put waveforms", err)
	}
	return s.write(ctx, "put waveforms", func(tx *sql.Tx) error {
		frame, err := tx.PrepareContext(ctx, insertFrame)
		if err != nil {
			return err
		}
		defer frame.Close()
		for i := range parts {
			if err := parts[i].put(ctx, tx, frame); err != nil {
				return fmt.Errorf("event %s: %w", parts[i].EventID, err)
			}
		}
		return nil
	})
}

func (p *WaveformPart) put(ctx context.Context, tx *sql.Tx, frame *sql.Stmt) error {
	var first, last any
	if p.Kept != nil {
		first, last = p.Kept.First, p.Kept.Last
	}
	if _, err := tx.ExecContext(ctx, upsertWaveform, p.EventID, p.Conductor, p.Channel, string(p.State), p.Shortfall, p.Epoch, first, last,
		p.BeforeNanos, p.AfterNanos, p.WallNanos); err != nil {
		return err
	}
	for _, f := range p.Frames {
		if _, err := frame.ExecContext(ctx, p.Conductor, p.Channel, p.Epoch, f.First, f.Last, f.Encoded); err != nil {
			return err
		}
	}
	return nil
}

// EndWaveforms makes every waveform that is open a short one, for the reason given, and says how many there were. For a daemon that begins:
// what is open was left so by one that was killed. It is durable on return.
func (s *Store) EndWaveforms(ctx context.Context, shortfall string) (ended int64, err error) {
	err = s.write(ctx, "end waveforms", func(tx *sql.Tx) error {
		done, err := tx.ExecContext(ctx, "UPDATE waveforms SET state = 'short', shortfall = ? WHERE state = 'open'", shortfall)
		if err != nil {
			return err
		}
		ended, err = done.RowsAffected()
		return err
	})
	return ended, err
}
