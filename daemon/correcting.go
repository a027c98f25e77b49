package daemon

import (
	"context"
	"errors"
	"strings"

	"github.com/ampledger/ampledger/daemon/pipeline"
	"github.com/ampledger/ampledger/daemon/service"
	"github.com/ampledger/ampledger/daemon/store"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// correct puts in force again what commissioning found of a conductor's channels.
func (r *running) correct(ctx context.Context, c *pipeline.Conductor) error {
	for _, lane := range c.Lanes() {
		change, err := r.newestChange(ctx, c, lane)
		if err != nil {
			return err
		}
		if change != nil {
			c.Correct(lane.Name, service.CorrectionOf(change))
		}
	}
	return nil
}

// newestChange gives the record of the newest change of a channel; nil = there is none.
func (r *running) newestChange(ctx context.Context, c *pipeline.Conductor, lane *pipeline.Lane) (*ampledgerv1.CommissioningRecord, error) {
	change, err := r.store.NewestRecord(ctx, store.RecordFilter{Conductor: c.Name(), Channel: lane.Name, Kinds: service.Changes})
	if errors.Is(err, store.ErrNoRecord) {
		return nil, nil
	}
	return change, err
}

// untoldChanges gives the entries of changes that the ledger does not have yet: the daemon ended between the record and the entry, and they are in force from now on.
func (r *running) untoldChanges(ctx context.Context, c *pipeline.Conductor, now int64) (postings []store.Posting, err error) {
	for _, lane := range c.Lanes() {
		change, err := r.newestChange(ctx, c, lane)
		if err != nil {
			return nil, err
		}
		if change == nil {
			continue
		}
		told, err := r.store.NewestEntry(ctx, store.Filter{Conductor: c.Name(), Channel: lane.Name, Kinds: []store.Kind{store.Commissioned}})
		if err != nil && !errors.Is(err, store.ErrNoEntries) {
			return nil, err
		}
		if name := store.RecordName(change); !strings.HasPrefix(told.Reason, name+":") {
			postings = append(postings, store.Posting{Entry: store.Entry{
				Kind: store.Commissioned, Conductor: c.Name(), Channel: lane.Name, Device: lane.Device, FromWallNanos: now, ToWallNanos: now,
				Reason: name + ": in force since this start of the daemon, which had ended before it was",
			}})
		}
	}
	return postings, nil
}
