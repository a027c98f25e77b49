package replay

import (
	"context"
	"fmt"
	"slices"

	"github.com/ampledger/ampledger/plugins/driver/replay/table"
)

// player plays the rows of a table.
type player struct {
	*outlet
	rows rows
}

// playTable opens the recording and plays it once; errEnd at its end.
func playTable(ctx context.Context, out *outlet) error {
	plan := out.plan
	file, err := table.Open(plan.path)
	if err != nil {
		return err
	}
	defer file.Close()
	if !slices.Equal(file.Header(), plan.header) {
		return fmt.Errorf("%s: the header changed since the device was configured, start the device again", plan.path)
	}
	p := &player{outlet: out, rows: rows{Reader: file.Reader, where: plan.where, window: plan.window}}
	return played(ctx, out, p.step)
}

// played takes steps and gives what ended them, errEnd if it was the end of the recording. Scans before a fault are sent first.
func played(ctx context.Context, out *outlet, step func(context.Context) error) error {
	for {
		if err := step(ctx); err != nil {
			if ctx.Err() != nil {
				return context.Cause(ctx)
			}
			if flushErr := out.flush(ctx); flushErr != nil {
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
	p.begin(at)
	elapsed := p.advance(at + p.shift)
	if p.full(elapsed) {
		if err := p.flush(ctx); err != nil {
			return err
		}
	}
	if p.batch.count() == 0 {
		p.began = elapsed
	}
	if column, err := p.batch.add(at+p.shift, cells); err != nil {
		return p.rows.Fault(column, err)
	}
	p.elapsed = elapsed
	return nil
}
