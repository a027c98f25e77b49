package store

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"errors"
	"fmt"
)

// Head is a place in the chain: an entry, and the sum over it and all before it. Whoever wrote one down can tell later whether the
// ledger up to there is still the same.
type Head struct {
	EntrySequence uint64 // 0 = before the first entry, where Chain is all zeros
	Chain         [sha256.Size]byte
}

// String writes the sequence, a colon and the sum in hexadecimal.
func (h Head) String() string { return fmt.Sprintf("%d:%x", h.EntrySequence, h.Chain) }

// link gives the chain of an entry behind another: the sum over the other's chain and the canonical bytes of the entry's rows.
func link(previous [sha256.Size]byte, rows []byte) [sha256.Size]byte {
	sum := sha256.New()
	sum.Write(previous[:])
	sum.Write(rows)
	return [sha256.Size]byte(sum.Sum(nil))
}

const newestHead = "SELECT entry_sequence, chain FROM entries ORDER BY entry_sequence DESC LIMIT 1"

// ChainHead gives the newest durable entry and its chain.
func (r *Reader) ChainHead(ctx context.Context) (Head, error) {
	head, err := headOf(ctx, r.readers, newestHead)
	return head, r.wrap("chain head", err)
}

// ChainAt gives an entry's chain, as it is stored. ErrNoEntries: there is no such entry.
func (r *Reader) ChainAt(ctx context.Context, entrySequence uint64) (Head, error) {
	head, err := headOf(ctx, r.readers, "SELECT entry_sequence, chain FROM entries WHERE entry_sequence = ?", clip(entrySequence))
	if err == nil && head.EntrySequence != entrySequence {
		err = fmt.Errorf("%w: there is no entry %d", ErrNoEntries, entrySequence)
	}
	return head, r.wrap("chain", err)
}

// headOf reads a head; no row is the one before the first entry.
func headOf(ctx context.Context, from source, query string, arguments ...any) (head Head, err error) {
	var chain []byte
	err = from.QueryRowContext(ctx, query, arguments...).Scan(&head.EntrySequence, &chain)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return Head{}, nil
	case err == nil && len(chain) != len(head.Chain):
		err = fmt.Errorf("%w: entry %d has no chain", ErrDamaged, head.EntrySequence)
	}
	copy(head.Chain[:], chain)
	return head, err
}

const giveChain = "UPDATE entries SET chain = ? WHERE entry_sequence = ?"

// chainAll gives the entries of schema 1 their chain.
func chainAll(ctx context.Context, tx *sql.Tx) error {
	var previous [sha256.Size]byte
	update, err := tx.PrepareContext(ctx, giveChain)
	if err != nil {
		return err
	}
	defer update.Close()
	return eachPosting(ctx, tx, func(row *rawPosting) error {
		previous = link(previous, row.canonical())
		_, err := update.ExecContext(ctx, previous[:], row.sequence)
		return err
	})
}
