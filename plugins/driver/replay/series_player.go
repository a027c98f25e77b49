package replay

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"

	"github.com/ampledger/ampledger/plugins/driver/replay/columns"
)

// seriesPlayer plays the rows of a series once.
type seriesPlayer struct {
	*outlet
	window   window
	paths    []string // not opened yet
	file     *columns.File
	reader   *columns.Reader
	timeline timeline
	rows     lump

	sent     bool   // a scan
	base     uint64 // sequence that the first scan goes out with
	first    int64  // and the one it was recorded with
	sequence int64  // recorded with the newest scan
	offset   int64  // of its wall-clock time from its time
	unsure   int64  // the uncertainty of its time, ns
}

func newSeriesPlayer(out *outlet) *seriesPlayer {
	return &seriesPlayer{outlet: out, window: out.plan.window, paths: out.plan.series.paths}
}

// playSeries plays the files once; errEnd at their end.
func playSeries(ctx context.Context, out *outlet) error {
	p := newSeriesPlayer(out)
	err := played(ctx, out, p.step)
	if closed := p.close(); closed != nil && errors.Is(err, errEnd) {
		return closed
	}
	return err
}

// next gives the next rows; errEnd after the last.
func (p *seriesPlayer) next(ctx context.Context) (*lump, error) {
	for {
		if ctx.Err() != nil {
			return nil, context.Cause(ctx)
		}
		if p.reader == nil {
			if err := p.open(); err != nil {
				return nil, err
			}
		}
		values, count, err := p.reader.Next(batchRows)
		if err == nil {
			p.rows.read(p.plan, values, count, &p.timeline, p.reader)
			return &p.rows, nil
		}
		if !errors.Is(err, io.EOF) {
			return nil, err
		}
		if err := p.close(); err != nil {
			return nil, err
		}
	}
}

func (p *seriesPlayer) open() (err error) {
	if len(p.paths) == 0 {
		return errEnd
	}
	if p.file, err = columns.Open(p.paths[0]); err != nil {
		return err
	}
	if !slices.Equal(p.file.Header(), p.plan.header) {
		return fmt.Errorf("%s: the columns changed since the device was configured, start the device again", p.paths[0])
	}
	p.paths, p.reader = p.paths[1:], p.file.Read(p.plan.series.read)
	return nil
}

func (p *seriesPlayer) close() (err error) {
	if p.reader != nil {
		err = p.reader.Close()
	}
	if p.file != nil {
		err = errors.Join(err, p.file.Close())
	}
	p.reader, p.file = nil, nil
	return err
}

// step takes a lump of rows.
func (p *seriesPlayer) step(ctx context.Context) error {
	rows, err := p.next(ctx)
	if err != nil {
		return err
	}
	for i := 0; i < rows.count; {
		if !p.window.has(rows.times[i]) {
			i++
			continue
		}
		if i, err = p.collect(ctx, rows, i); err != nil {
			return err
		}
	}
	return rows.fault
}

// within gives the times of the rows in the window.
func (p *seriesPlayer) within(rows *lump) (times []int64) {
	for _, at := range rows.times[:rows.count] {
		if p.window.has(at) {
			times = append(times, at)
		}
	}
	return times
}

// collect adds row i and those after it that go into the same frame, and gives the row after them.
func (p *seriesPlayer) collect(ctx context.Context, rows *lump, i int) (int, error) {
	p.outlet.begin(rows.times[i])
	elapsed := p.advance(rows.times[i] + p.shift)
	if p.full(elapsed) || !p.continues(rows, i) {
		if err := p.flush(ctx); err != nil {
			return i, err
		}
	}
	if p.batch.count() == 0 {
		p.beginFrame(rows, i, elapsed)
	}
	j, room := i+1, p.plan.playback.Scans-p.batch.count()
	for p.elapsed = elapsed; ; j++ {
		p.note(rows, j-1)
		if j == rows.count || j-i == room || !p.window.has(rows.times[j]) || !p.continues(rows, j) {
			break
		}
		next := p.advance(rows.times[j] + p.shift)
		if next-p.began > p.plan.playback.HoldNanos {
			break
		}
		p.elapsed = next
	}
	good, column, err := p.batch.addRun(rows, i, j, p.shift)
	if err != nil {
		return i, p.reader.Fault(i+good, len(p.plan.series.read)-len(p.plan.inputs)+column, err)
	}
	return j, nil
}

// beginFrame takes down what a frame has from its first scan.
func (p *seriesPlayer) beginFrame(rows *lump, i int, elapsed int64) {
	p.began = elapsed
	if !p.plan.series.own {
		return
	}
	if !p.sent {
		p.sent, p.base, p.first = true, p.outlet.sequence, rows.sequences[i]
	}
	p.outlet.sequence = p.base + uint64(rows.sequences[i]-p.first)
	p.ownWall, p.wall = p.plan.series.ownWall, rows.walls[i]+p.shift
	p.batch.frame.TimeUncertaintyNanos = rows.uncertainty(i)
}

// note takes down what the row after it is held against.
func (p *seriesPlayer) note(rows *lump, i int) {
	if p.plan.series.own {
		p.sequence, p.offset, p.unsure = rows.sequences[i], rows.walls[i]-rows.times[i], rows.uncertainty(i)
	}
}

// continues tells that a row's sequence and wall-clock time follow from those of the row before, and that its time is as uncertain.
func (p *seriesPlayer) continues(rows *lump, i int) bool {
	if !p.plan.series.own {
		return true
	}
	return rows.sequences[i] == p.sequence+1 && rows.uncertainty(i) == p.unsure && (!p.plan.series.ownWall || rows.walls[i]-rows.times[i] == p.offset)
}
