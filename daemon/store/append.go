package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"

	"google.golang.org/protobuf/proto"

	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// Batch is what is stored in one transaction: all of it or nothing.
type Batch struct {
	Postings []Posting
	Events   []*ampledgerv1.Event // with log_sequence 0
	Holds    []Hold
}

// Posting is an entry and details of its gaps. The entry counts every gap; the details may be fewer, but of a gap entry there is one.
type Posting struct {
	Entry Entry
	Gaps  []Gap
}

// Hold keeps a device's sequences up to and including Through from being given out again.
type Hold struct {
	Device  string
	Through uint64
}

// Positions are the places that were assigned, in the order of the batch.
type Positions struct {
	Entries []uint64 // entry sequences
	Events  []uint64 // log sequences
}

// Append stores a batch. On a nil return all of it is durable; on an error nothing of it is stored. The batch is left as it is.
// ErrInvalid: it will be refused however often it is tried.
func (s *Store) Append(ctx context.Context, batch Batch) (Positions, error) {
	if err := batch.validate(); err != nil {
		return Positions{}, s.wrap("append", err)
	}
	if len(batch.Postings)+len(batch.Events)+len(batch.Holds) == 0 {
		return Positions{}, nil
	}
	var at Positions
	err := s.write(ctx, "append", func(tx *sql.Tx) error {
		a := appending{ctx, tx, s.insert}
		var err error
		if at.Entries, err = a.postings(batch.Postings); err != nil {
			return err
		}
		if at.Events, err = a.events(batch.Events); err != nil {
			return err
		}
		return a.holds(batch.Holds)
	})
	if err != nil {
		return Positions{}, err
	}
	return at, nil
}

// appending is one transaction of Append.
type appending struct {
	ctx    context.Context
	tx     *sql.Tx
	insert inserts
}

// run executes one of the store's statements in the transaction.
func (a *appending) run(statement *sql.Stmt, values ...any) error {
	_, err := a.tx.StmtContext(a.ctx, statement).ExecContext(a.ctx, values...)
	return err
}

// last gives the newest of a table's sequences, 0 if it has none.
func (a *appending) last(query string) (sequence uint64, err error) {
	err = a.tx.QueryRowContext(a.ctx, query).Scan(&sequence)
	return sequence, err
}

func (a *appending) postings(postings []Posting) (at []uint64, err error) {
	if len(postings) == 0 {
		return nil, nil
	}
	head, err := headOf(a.ctx, a.tx, newestHead)
	if err != nil {
		return nil, err
	}
	used := map[string]uint64{} // next sequence of each device
	for _, posting := range postings {
		if head, err = a.posting(&posting, head); err != nil {
			return nil, err
		}
		at = append(at, head.EntrySequence)
		if posting.Entry.Kind.covers() {
			used[posting.Entry.Device] = max(used[posting.Entry.Device], posting.Entry.LastSequence+1)
		}
	}
	for device, next := range used {
		if err := a.run(a.insert.device, device, 0, next); err != nil {
			return nil, err
		}
	}
	return at, nil
}

// posting stores an entry behind the newest one and gives the chain's new end.
func (a *appending) posting(posting *Posting, head Head) (Head, error) {
	posting.Entry.Sequence = head.EntrySequence + 1
	raw, err := posting.raw()
	if err != nil {
		return head, err
	}
	head = Head{posting.Entry.Sequence, link(head.Chain, raw.canonical())}
	if err := a.run(a.insert.entry, append(raw.values, head.Chain[:])...); err != nil {
		return head, err
	}
	for _, gap := range raw.gaps {
		if err := a.run(a.insert.gap, gap...); err != nil {
			return head, err
		}
	}
	return head, nil
}

// raw gives the rows of a posting whose entry has its sequence.
func (p *Posting) raw() (*rawPosting, error) {
	raw := &rawPosting{sequence: int64(p.Entry.Sequence), values: p.Entry.values()}
	for i, gap := range p.Gaps {
		gap.EntrySequence, gap.Position = p.Entry.Sequence, i+1
		causes, err := gap.encode()
		if err != nil {
			return nil, err
		}
		raw.gaps = append(raw.gaps, plain(gap.fields(&causes)))
	}
	return raw, nil
}

func (a *appending) events(events []*ampledgerv1.Event) (at []uint64, err error) {
	if len(events) == 0 {
		return nil, nil
	}
	sequence, err := a.last(lastEvent)
	if err != nil {
		return nil, err
	}
	for _, event := range events {
		sequence++
		event = proto.CloneOf(event)
		event.LogSequence = sequence
		row, err := rowOf(event)
		if err != nil {
			return nil, err
		}
		if err := a.run(a.insert.event, row...); err != nil {
			return nil, err
		}
		at = append(at, sequence)
	}
	return at, nil
}

func (a *appending) holds(holds []Hold) error {
	for _, hold := range holds {
		if err := a.run(a.insert.device, hold.Device, hold.Through+1, 0); err != nil {
			return err
		}
	}
	return nil
}

// validate lists every fault that would keep the batch out for ever.
func (b *Batch) validate() error {
	var faults []error
	for i := range b.Postings {
		faults = append(faults, b.Postings[i].validate())
	}
	for _, event := range b.Events {
		faults = append(faults, validateEvent(event))
	}
	for _, hold := range b.Holds {
		faults = append(faults, hold.validate())
	}
	if err := errors.Join(faults...); err != nil {
		return fmt.Errorf("%w: %w", ErrInvalid, err)
	}
	return nil
}

func (p *Posting) validate() error {
	faults := []error{p.Entry.validate()}
	for i := range p.Gaps {
		faults = append(faults, p.Gaps[i].validate())
	}
	if p.Entry.Kind == Uncounted && len(p.Gaps) == 0 {
		faults = append(faults, errors.New("gap entry without a gap that says from when and why"))
	}
	if uint64(len(p.Gaps)) > p.Entry.GapCount {
		faults = append(faults, fmt.Errorf("entry counts %d gaps, %d are given", p.Entry.GapCount, len(p.Gaps)))
	}
	return errors.Join(faults...)
}

func (h Hold) validate() error {
	if h.Device == "" {
		return errors.New("device without a name")
	}
	if h.Through >= math.MaxInt64 {
		return fmt.Errorf("sequence %d is beyond 63 bits", h.Through)
	}
	return nil
}
