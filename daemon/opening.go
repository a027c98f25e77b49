package daemon

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/ampledger/ampledger/daemon/charge"
	"github.com/ampledger/ampledger/daemon/pipeline"
	"github.com/ampledger/ampledger/daemon/service"
	"github.com/ampledger/ampledger/daemon/store"
)

// openings reads what each channel's ledger holds already and lets the conductor go on from there.
func (r *running) openings(ctx context.Context, c *pipeline.Conductor) (map[string]service.Opening, error) {
	openings := map[string]service.Opening{}
	for _, lane := range c.Lanes() {
		balance, err := r.store.Balance(ctx, c.Name(), lane.Name, nil, nil)
		if errors.Is(err, store.ErrNoEntries) {
			continue
		}
		if err != nil {
			return nil, err
		}
		gaps, err := r.store.Gaps(ctx, c.Name(), lane.Name, nil, nil, 1000)
		if err != nil {
			return nil, err
		}
		openings[lane.Name] = service.Opening{Balance: balance, Gaps: gaps}
		ledger, err := r.ledgerOf(ctx, lane, &balance)
		if err != nil {
			return nil, err
		}
		c.Resume(lane.Name, ledger)
	}
	return openings, nil
}

// ledgerOf is what a channel goes on from. Where its account ended is what its newest interval says, not the latest time of all, and by the wall
// clock as it is set now.
func (r *running) ledgerOf(ctx context.Context, lane *pipeline.Lane, b *store.Balance) (pipeline.Ledger, error) {
	away, err := r.store.Away(ctx, lane.Conductor, lane.Name)
	if err != nil {
		return pipeline.Ledger{}, err
	}
	ledger := pipeline.Ledger{
		AdjustmentMicrocoulombs: b.AdjustmentMicrocoulombs, OutMicrocoulombs: b.OutMicrocoulombs, InMicrocoulombs: b.InMicrocoulombs,
		HeldNanos: b.DurationNanos - away, ZeroCoulombs: b.ZeroCoulombs,
	}
	newest, err := r.store.NewestEntry(ctx, store.Filter{Conductor: lane.Conductor, Channel: lane.Name, Kinds: []store.Kind{store.Interval}})
	switch {
	case errors.Is(err, store.ErrNoEntries):
		return ledger, nil
	case err != nil:
		return ledger, err
	}
	ledger.After = &charge.After{Sequence: newest.LastSequence, Wall: newest.ToWallNanos + int64(r.clockStep)}
	return ledger, nil
}

// beginLedger posts the opening of each channel, and the configuration of each conductor whose ledger was kept under another one.
func (r *running) beginLedger(ctx context.Context, opening uint64) error {
	var batch store.Batch
	now := time.Now().UnixNano()
	for _, c := range r.conductors {
		for _, lane := range c.Lanes() {
			batch.Postings = append(batch.Postings, store.Posting{Entry: store.Entry{
				Kind: store.Opening, Conductor: c.Name(), Channel: lane.Name, Device: lane.Device, FromWallNanos: now, ToWallNanos: now,
				Reason: r.openingReason(opening),
			}})
		}
		configured, err := r.configured(ctx, c)
		if err != nil {
			return err
		}
		if configured != nil {
			configured.FromWallNanos, configured.ToWallNanos = now, now
			batch.Postings = append(batch.Postings, store.Posting{Entry: *configured})
		}
		untold, err := r.untoldChanges(ctx, c, now)
		if err != nil {
			return err
		}
		batch.Postings = append(batch.Postings, untold...)
	}
	_, err := r.store.Append(ctx, batch)
	return err
}

func (r *running) openingReason(opening uint64) string {
	reason := fmt.Sprintf("start %d of the daemon", opening)
	if r.clockStep != 0 {
		reason += fmt.Sprintf("; the wall clock was set by %v while it was away, which the time away leaves out", r.clockStep.Round(time.Millisecond))
	}
	return reason
}

// configured gives the entry of a configuration that is another than the one before; nil = it is the same.
func (r *running) configured(ctx context.Context, c *pipeline.Conductor) (*store.Entry, error) {
	before, err := r.store.NewestEntry(ctx, store.Filter{Conductor: c.Name(), Kinds: []store.Kind{store.Configured}})
	if err != nil && !errors.Is(err, store.ErrNoEntries) {
		return nil, err
	}
	if before.ConfigurationSHA256 == r.config.SHA256 {
		return nil, nil
	}
	reason := "the first configuration"
	if before.ConfigurationSHA256 != "" {
		reason = "another configuration than before"
	}
	for _, lane := range c.Lanes() {
		if lane.Name == c.ChargeFrom() {
			return &store.Entry{
				Kind: store.Configured, Conductor: c.Name(), Channel: lane.Name, Device: lane.Device, Reason: reason, ConfigurationSHA256: r.config.SHA256,
			}, nil
		}
	}
	return nil, fmt.Errorf("conductor %s has no channel %s", c.Name(), c.ChargeFrom())
}
