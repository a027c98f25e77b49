package replay

import (
	"context"

	"github.com/ampledger/ampledger/plugins/driver/internal/playback"
	"github.com/ampledger/ampledger/plugins/driver/replay/table"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// player is one stream of a recording.
type player struct {
	plan  *plan
	rows  rows
	batch *batch
	emit  func(*plugin.Frame) error

	pacer    *playback.Pacer // nil before the first row
	began    int64           // elapsed time at the first scan of the batch
	elapsed  int64           // and at its last
	sequence uint64          // of the first scan of the batch
}

func newPlayer(plan *plan, in *table.Reader, emit func(*plugin.Frame) error) *player {
	return &player{plan: plan, rows: rows{Reader: in, where: plan.where, window: plan.window}, batch: newBatch(plan.inputs), emit: emit}
}

// play sends all rows and gives what ended them, errEnd if it was the end of the recording. Scans before a fault are sent first.
func (p *player) play(ctx context.Context) error {
	for {
		if err := p.step(ctx); err != nil {
			if ctx.Err() != nil {
				return context.Cause(ctx)
			}
			if flushErr := p.flush(ctx); flushErr != nil {
				return flushErr
			}
			return err
		}
	}
}

// step takes one row.
func (p *player) step(ctx context.Context) error {
	cells, err := p.rows.next(ctx)
	if err != nil {
		return err
	}
	at, err := p.rows.time(p.plan.time)
	if err != nil {
		return err
	}
	if p.pacer == nil {
		p.pacer = p.plan.playback.Start(at)
	}
	elapsed := p.pacer.Advance(at)
	if p.batch.count() == p.plan.playback.Scans || elapsed-p.began > p.plan.playback.HoldNanos {
		if err := p.flush(ctx); err != nil {
			return err
		}
	}
	if p.batch.count() == 0 {
		p.began = elapsed
	}
	if column, err := p.batch.add(at, cells); err != nil {
		return p.rows.Fault(column, err)
	}
	p.elapsed = elapsed
	return nil
}

// flush sends the batch, if there is one, when its last scan is due.
func (p *player) flush(ctx context.Context) error {
	scans := p.batch.count()
	if scans == 0 {
		return nil
	}
	if err := p.pacer.Wait(ctx, p.elapsed); err != nil {
		return err
	}
	frame := p.batch.finish(p.sequence)
	frame.FirstWallNanos = p.pacer.Wall(frame.FirstMonotonicNanos)
	err := p.emit(frame)
	p.batch.reset()
	p.sequence += uint64(scans)
	return err
}
