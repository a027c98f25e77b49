package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
)

// raiseDevice raises what is held and what is used of a device's sequences, never lowering either.
const raiseDevice = `INSERT INTO devices (device, held_next, used_next) VALUES (?, ?, ?) ON CONFLICT (device) DO UPDATE
	SET held_next = max(held_next, excluded.held_next), used_next = max(used_next, excluded.used_next)`

// NextSequence gives the first sequence of a device that can never have been given out: the one behind the highest that was held or
// that an entry names. 0 for a device never seen. It stores nothing: hold what is given out before it is used.
func (r *Reader) NextSequence(ctx context.Context, device string) (next uint64, err error) {
	err = r.readers.QueryRowContext(ctx, "SELECT max(held_next, used_next) FROM devices WHERE device = ?", device).Scan(&next)
	if errors.Is(err, sql.ErrNoRows) {
		return 0, nil
	}
	return next, r.wrap("next sequence of "+device, err)
}

// HoldSequences holds a device's sequences up to and including through. On return that is durable: after a crash the device goes on behind
// them. Less than what is held already changes nothing.
func (s *Store) HoldSequences(ctx context.Context, device string, through uint64) error {
	_, err := s.Append(ctx, Batch{Holds: []Hold{{device, through}}})
	return err
}

// ReleaseSequences gives back what was held and not used: next is the first sequence that was never used. For a clean shutdown, when
// nothing of the device is on its way any more. On return it is durable that the device goes on with next.
// ErrSequenceInUse: an entry names next or a later one; what was held stays so.
func (s *Store) ReleaseSequences(ctx context.Context, device string, next uint64) error {
	if device == "" || next > math.MaxInt64 {
		return s.wrap("release sequences", fmt.Errorf("%w: sequence %d of device %q", ErrInvalid, next, device))
	}
	return s.write(ctx, "release sequences of "+device, func(tx *sql.Tx) error {
		if _, err := tx.ExecContext(ctx, raiseDevice, device, 0, 0); err != nil {
			return err
		}
		var used uint64
		if err := tx.QueryRowContext(ctx, "SELECT used_next FROM devices WHERE device = ?", device).Scan(&used); err != nil {
			return err
		}
		if next < used {
			return fmt.Errorf("%w: %d, the first free one is %d", ErrSequenceInUse, next, used)
		}
		_, err := tx.ExecContext(ctx, "UPDATE devices SET held_next = ? WHERE device = ?", next, device)
		return err
	})
}

// BeginEpoch gives a device's next epoch, from 1. On return it is durable that it was given out: it is never given again.
func (s *Store) BeginEpoch(ctx context.Context, device string) (epoch uint64, err error) {
	return s.count(ctx, "begin epoch of "+device, `INSERT INTO devices (device, epoch) VALUES (?, 1)
		ON CONFLICT (device) DO UPDATE SET epoch = epoch + 1 RETURNING epoch`, device)
}

// BeginOpening counts a start of the daemon, from 1. On return it is durable: the number is never given again.
func (s *Store) BeginOpening(ctx context.Context) (opening uint64, err error) {
	return s.count(ctx, "begin opening", "UPDATE daemon SET opening = opening + 1 RETURNING opening")
}

// count runs a statement that raises a number and gives it.
func (s *Store) count(ctx context.Context, operation, query string, arguments ...any) (number uint64, err error) {
	err = s.write(ctx, operation, func(tx *sql.Tx) error {
		return tx.QueryRowContext(ctx, query, arguments...).Scan(&number)
	})
	if err != nil {
		return 0, err
	}
	return number, nil
}
