package can

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"

	"github.com/ampledger/ampledger/plugins/driver/can/wire"
	"github.com/ampledger/ampledger/plugins/driver/internal/playback"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// probeLog reads the log's first line.
func probeLog(p *plan) error {
	file, err := os.Open(p.log)
	if errors.Is(err, fs.ErrNotExist) {
		err = fmt.Errorf("%w; a relative path counts from the folder of the configuration", err)
	}
	if err != nil {
		return fault("log", err)
	}
	defer file.Close()
	var first wire.Line
	err = wire.NewReader(file, p.log).Next(&first)
	switch {
	case errors.Is(err, io.EOF):
		return fault("log", fmt.Errorf("%s holds no frames", p.log))
	case err != nil:
		return fault("log", err)
	}
	return nil
}

// player plays a log.
type player struct {
	*collector
	ctx   context.Context
	emit  func(*plugin.Frame) error
	lines *wire.Reader
	line  wire.Line

	network string          // interface whose lines are played; "" = none was seen yet
	pacer   *playback.Pacer // nil before the first scan
	began   int64           // elapsed time at the first scan of the batch
	elapsed int64           // and at its last
}

// play plays the log once. Scans before a fault go out first.
func (d *Driver) play(ctx context.Context, emit func(*plugin.Frame) error) error {
	file, err := os.Open(d.plan.log)
	if err != nil {
		return err
	}
	defer file.Close()
	p := &player{ctx: ctx, emit: emit, lines: wire.NewReader(file, d.plan.log), network: d.plan.network}
	p.collector = newCollector(d.plan, d.log, p.release)
	defer p.end()
	for err == nil {
		err = p.step()
	}
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	if failed := p.flush(); failed != nil {
		return failed
	}
	if errors.Is(err, errEnd) {
		return p.atEnd()
	}
	return err
}

var errEnd = errors.New("the log is at its end")

// step takes one line.
func (p *player) step() error {
	if p.ctx.Err() != nil {
		return context.Cause(p.ctx)
	}
	if err := p.lines.Next(&p.line); err != nil {
		if errors.Is(err, io.EOF) {
			return errEnd
		}
		return err
	}
	p.look(p.line.Nanos)
	which := p.plan.message(&p.line.Frame)
	if which < 0 {
		return nil
	}
	played, err := p.played()
	switch {
	case err != nil || !played:
		return err
	case which == p.scan:
		return p.takeScan(p.line.Nanos)
	}
	return p.take(which, &p.line.Frame, p.line.Nanos)
}

// played tells that the newest line is of the interface that is played. A log of several, where no one was named, would mix what only looks alike.
func (p *player) played() (bool, error) {
	switch {
	case p.network == string(p.line.Interface):
		return true, nil
	case p.network == "":
		p.network = string(p.line.Interface)
		return true, nil
	case p.plan.network != "":
		return false, nil
	}
	return false, p.lines.Fault(fmt.Errorf("the messages come on %s here and on %s before, say by the setting interface which of them to play", p.line.Interface, p.network))
}

// takeScan takes a frame of the message that makes the scans.
func (p *player) takeScan(at int64) error {
	if p.pacer == nil {
		p.pacer = p.plan.playback.Start(at)
	}
	elapsed, before := p.pacer.Advance(at), p.next
	if pace := &p.plan.playback; int(p.batch.ScanCount) == pace.Scans || elapsed-p.began > pace.HoldNanos {
		if err := p.flush(); err != nil {
			return err
		}
	}
	if err := p.take(p.scan, &p.line.Frame, at); err != nil || p.next == before {
		return err
	}
	if p.batch.ScanCount == 1 {
		p.began = elapsed
	}
	p.elapsed = elapsed
	return nil
}

// release sends a batch when its last scan is due.
func (p *player) release(f *plugin.Frame) error {
	if err := p.pacer.Wait(p.ctx, p.elapsed); err != nil {
		return err
	}
	f.FirstWallNanos = p.pacer.Wall(f.FirstMonotonicNanos)
	return p.emit(f)
}

// atEnd tells whether the log held what it was to be played for.
func (p *player) atEnd() error {
	for i := range p.watches {
		if w := &p.watches[i]; !w.seen && i != p.scan {
			w.journal.to.Printf("message %s is not in %s, its values were absent throughout", w.name, p.plan.log)
		}
	}
	switch {
	case p.next > 0:
		return nil
	case p.watches[p.scan].seen:
		return fmt.Errorf("%s: no frame of message %s carries %q, which makes the scans", p.plan.log, p.watches[p.scan].name, p.plan.inputs[p.plan.scanOn].Name)
	case p.plan.network != "":
		return fmt.Errorf("%s: message %s, which makes the scans, is not in it on the interface %s", p.plan.log, p.watches[p.scan].name, p.plan.network)
	}
	return fmt.Errorf("%s: message %s, which makes the scans, is not in it", p.plan.log, p.watches[p.scan].name)
}
