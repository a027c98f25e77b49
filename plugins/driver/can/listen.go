package can

import (
	"context"
	"errors"
	"log"
	"os"
	"time"

	"github.com/ampledger/ampledger/plugins/driver/can/wire"
	"github.com/ampledger/ampledger/plugins/plugin"
)

const (
	patience  = 100 * time.Millisecond // how long an ended context may wait for the reader
	holdNanos = 50e6                   // how long a scan may wait for its frame to fill
	mostScans = 1000                   // in a frame
	mostDrain = 1000                   // frames taken in a row before the batch is looked at

	firstReadings = 10 // of the clocks, of which the shortest tells how far they are apart
)

// source is a CAN interface.
type source interface {
	SetReadDeadline(time.Time) error
	// receive takes a frame. It waits for one until the deadline if told to; else, where none is there, it gives errEmpty.
	receive(to *received, wait bool) error
	Close() error
}

// received is one frame as the kernel gave it.
type received struct {
	frame     wire.Frame
	wallNanos int64 // when the kernel received it, by the wall clock; 0 = not told
	dropped   int64 // frames that found no room in the kernel since the one before
}

var errEmpty = errors.New("no frame is there")

// listener turns what an interface gives into scans.
type listener struct {
	*collector
	from source
	now  func() (int64, error)
	emit func(*plugin.Frame) error
	log  *log.Logger

	clock   clock
	got     received
	due     int64 // when the batch is to be sent
	dropped tally
	errors  tally
}

func (d *Driver) listen(ctx context.Context, emit func(*plugin.Frame) error) error {
	l := &listener{now: d.now, emit: emit, log: d.log}
	l.collector = newCollector(d.plan, d.log, l.release)
	defer l.end()
	for range firstReadings {
		if err := l.tick(); err != nil {
			return err
		}
	}
	l.clock.empty = l.clock.boot // no frame can come before the interface is open
	from, err := d.dial(d.plan)
	if err != nil {
		return err
	}
	defer from.Close()
	l.from = from
	for ctx.Err() == nil {
		if err := l.step(); err != nil {
			return err
		}
	}
	return context.Cause(ctx)
}

// tick reads the clocks, and looks for silence.
func (l *listener) tick() error {
	before, err := l.now()
	if err != nil {
		return err
	}
	wall := time.Now().UnixNano()
	after, err := l.now()
	if err != nil {
		return err
	}
	l.clock.read(before, wall, after)
	l.look(after)
	return nil
}

// step waits for a frame, takes all that are there, and sends the batch when it is due.
func (l *listener) step() error {
	wait := patience
	if l.batch.ScanCount > 0 {
		wait = min(wait, max(0, time.Duration(l.due-l.clock.boot)))
	}
	if err := l.from.SetReadDeadline(time.Now().Add(wait)); err != nil {
		return err
	}
	err := l.from.receive(&l.got, true)
	if errors.Is(err, os.ErrDeadlineExceeded) {
		if err := l.tick(); err != nil {
			return err
		}
		err = l.from.receive(&l.got, false) // where the deadline was over at once, nobody has looked
	}
	if err := l.drain(err); err != nil {
		return err
	}
	if l.clock.boot >= l.due || l.batch.ScanCount >= mostScans {
		return l.flush()
	}
	return nil
}

// drain takes the frame that came, if err is nil, and those that are there behind it. Scans before a fault go out first.
func (l *listener) drain(err error) error {
	for frames := 1; ; frames++ {
		switch {
		case errors.Is(err, errEmpty):
			l.clock.empty = l.clock.boot
			return nil
		case err != nil:
			return errors.Join(err, l.flush())
		}
		if err := l.hand(); err != nil || frames == mostDrain {
			return err
		}
		err = l.from.receive(&l.got, false)
	}
}

// hand hands the newest frame on.
func (l *listener) hand() error {
	if err := l.tick(); err != nil {
		return err
	}
	if l.got.dropped > 0 {
		l.sayDropped()
	}
	f := &l.got.frame
	if f.Error {
		l.sayError(f)
		return nil
	}
	which := l.plan.message(f)
	if which < 0 {
		return nil
	}
	at, plain := l.clock.at(l.got.wallNanos)
	if !plain {
		l.watches[which].journal.note(stepped, 1, at)
	}
	before := l.next
	if err := l.take(which, f, at); err != nil {
		return err
	}
	if l.next != before && l.batch.ScanCount == 1 {
		l.due = l.clock.boot + holdNanos
	}
	return nil
}

func (l *listener) sayDropped() {
	l.drop(l.got.dropped)
	if n := l.dropped.add(l.got.dropped, l.clock.boot); n > 0 {
		l.log.Printf("%s: %s found no room in the kernel, this machine was too busy to take them", l.plan.network, plural(n, "frame"))
	}
}

// sayError says what the controller reports. One that had no room has lost frames, nobody knows how many.
func (l *listener) sayError(f *wire.Frame) {
	text, overflow := busError(f)
	if overflow {
		l.drop(0)
	}
	if n := l.errors.add(1, l.clock.boot); n > 0 {
		l.log.Printf("%s: the controller reports: %s (%s)", l.plan.network, text, plural(n, "report"))
	}
}

// end says what was counted and not said.
func (l *listener) end() {
	l.collector.end()
	if n := l.dropped.take(); n > 0 {
		l.log.Printf("%s: %s more found no room in the kernel", l.plan.network, plural(n, "frame"))
	}
}

// release sends a batch.
func (l *listener) release(f *plugin.Frame) error {
	f.FirstWallNanos = f.FirstMonotonicNanos + l.clock.ahead
	return l.emit(f)
}
