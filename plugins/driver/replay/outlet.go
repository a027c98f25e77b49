package replay

import (
	"context"
	"errors"
	"math"

	"github.com/ampledger/ampledger/plugins/driver/internal/playback"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// outlet sends scans as frames, each when it is due.
type outlet struct {
	plan  *plan
	batch *batch
	emit  func(*plugin.Frame) error

	pacer    *playback.Pacer // nil before the first scan
	began    int64           // elapsed time at the first scan of the batch
	elapsed  int64           // and at its last
	sequence uint64          // of the first scan of the batch
	wall     int64           // wall-clock time of the first scan of the batch, if the recording has one that is given
	ownWall  bool            // it has

	shift  int64  // what a scan's time goes out later than it stands in the recording
	latest int64  // the latest time that went out
	again  bool   // the next scan is the first of another round
	round  uint64 // sequence after the round before
}

func newOutlet(plan *plan, emit func(*plugin.Frame) error) *outlet {
	return &outlet{plan: plan, batch: newBatch(plan.inputs), emit: emit}
}

// advance takes the time of the next scan, shift included, and gives the time that went by since the first one.
func (o *outlet) advance(at int64) (elapsed int64) {
	if o.pacer == nil {
		o.pacer, o.latest = o.plan.playback.Start(at), at
	}
	o.latest = max(o.latest, at)
	return o.pacer.Advance(at)
}

// full tells that a scan belongs to the next frame.
func (o *outlet) full(elapsed int64) bool {
	return o.batch.count() == o.plan.playback.Scans || elapsed-o.began > o.plan.playback.HoldNanos
}

// flush sends the batch, if there is one, when its last scan is due.
func (o *outlet) flush(ctx context.Context) error {
	scans := o.batch.count()
	if scans == 0 {
		return nil
	}
	if err := o.pacer.Wait(ctx, o.elapsed); err != nil {
		return err
	}
	frame := o.batch.finish(o.sequence)
	frame.FirstWallNanos = o.pacer.Wall(frame.FirstMonotonicNanos)
	if o.ownWall {
		frame.FirstWallNanos = o.wall
	}
	err := o.emit(frame)
	o.batch.reset()
	o.sequence += uint64(scans)
	return err
}

// errNoRows keeps a recording that lost its rows from being repeated without end and without a scan.
var errNoRows = errors.New("the recording has no rows any more")

var errTooLong = errors.New("the recording was repeated so often that its time is at its end")

// begin takes the time of the next scan as it stands in the recording. If a round begins with it, it goes out one nominal interval after
// the latest one of the round before, or a second after it if there is no nominal interval.
func (o *outlet) begin(at int64) {
	if !o.again {
		return
	}
	interval := 1e9
	if o.plan.rate > 0 {
		interval = max(math.Round(1e9/o.plan.rate), 1)
	}
	o.again, o.shift = false, o.latest+int64(interval)-at
}

// repeat makes ready for another round.
func (o *outlet) repeat() error {
	switch {
	case o.sequence == o.round:
		return errNoRows
	case o.latest > math.MaxInt64/4:
		return errTooLong
	}
	o.again, o.round = true, o.sequence
	return nil
}
