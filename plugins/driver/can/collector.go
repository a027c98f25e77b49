package can

import (
	"log"

	"github.com/ampledger/ampledger/plugins/driver/can/wire"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// collector makes scans of frames, and plugin frames of scans. Its memory is made at the start and used again.
type collector struct {
	plan    *plan
	watches []watch
	held    []held
	scan    int // which message makes a scan
	begun   bool
	looked  int64

	next   uint64 // sequence after the newest scan
	missed bool   // scans may have been lost, and nobody can tell how many
	batch  plugin.Frame
	send   func(*plugin.Frame) error
}

// held is the newest value of an input.
type held struct {
	value float64
	at    int64 // ns
	fresh bool  // no scan has had it
	known bool
}

func newCollector(p *plan, to *log.Logger, send func(*plugin.Frame) error) *collector {
	c := &collector{plan: p, send: send, held: make([]held, len(p.inputs)), scan: p.inputs[p.scanOn].message}
	for i := range p.messages {
		c.watches = append(c.watches, newWatch(&p.messages[i], to))
	}
	for range p.inputs {
		c.batch.Columns = append(c.batch.Columns, &plugin.Column{})
	}
	return c
}

// lookNanos is how often silence is looked for.
const lookNanos = 100e6

// look takes the time, and says which messages have not come for too long.
func (c *collector) look(now int64) {
	if !c.begun {
		c.begun, c.looked = true, now
		for i := range c.watches {
			c.watches[i].at = now
		}
	}
	if c.looked = min(c.looked, now); now-c.looked < lookNanos {
		return
	}
	c.looked = now
	for i := range c.watches {
		c.watches[i].look(now)
	}
}

// drop notes that frames of any of the messages were lost on their way here; frames tells how many, 0 = not known. Where one message is all there
// is and neither a counter nor a period tells how many of it were lost, this does.
func (c *collector) drop(frames int64) {
	p := &c.watches[c.scan].pace
	if p.periodNanos > 0 || p.values > 0 {
		return
	}
	if frames > 0 && len(c.watches) == 1 && !c.plan.inputs[c.plan.scanOn].multiplexed {
		c.next += uint64(frames)
		return
	}
	c.missed = true
}

// take takes a frame of a message, and appends a scan if the message makes one.
func (c *collector) take(which int, f *wire.Frame, at int64) error {
	w := &c.watches[which]
	s, good := w.take(f, at)
	c.hold(w, f.Payload(), good, at)
	if which != c.scan {
		return nil
	}
	scan := &c.plan.inputs[c.plan.scanOn]
	if !scan.multiplexed {
		c.next += uint64(s.frames - 1)
		return c.append(at)
	}
	c.missed = c.missed || s.frames > 1 || !good
	if good && w.multiplexer.Unsigned(f.Payload()) == scan.multiplex {
		return c.append(at)
	}
	return nil
}

// hold takes the values of a frame; those of one that is not to be believed are unknown until the next that is.
func (c *collector) hold(w *watch, data []byte, good bool, at int64) {
	selected := uint64(0)
	if good && w.multiplexer != nil {
		selected = w.multiplexer.Unsigned(data)
	}
	for _, i := range w.inputs {
		in, to := &c.plan.inputs[i], &c.held[i]
		switch {
		case !good:
			to.known = false
		case !in.multiplexed || in.multiplex == selected:
			raw, present := in.raw(data)
			to.value, to.at, to.fresh, to.known = raw, at, true, present
			if !in.code {
				to.value = in.value(raw)
			}
		}
	}
}

// append adds a scan of what is known at a time. Where the sequence jumps, another frame begins.
func (c *collector) append(at int64) error {
	f := &c.batch
	if c.missed && c.next > 0 {
		c.next++
	}
	c.missed = false
	if c.next != f.FirstSequence+uint64(f.ScanCount) {
		if err := c.flush(); err != nil {
			return err
		}
	}
	if f.ScanCount == 0 {
		f.FirstSequence, f.FirstMonotonicNanos = c.next, at
	}
	c.next++
	f.OffsetNanos = append(f.OffsetNanos, at-f.FirstMonotonicNanos)
	for i := range c.plan.inputs {
		c.appendValue(f.Columns[i], &c.plan.inputs[i], &c.held[i], at)
	}
	f.ScanCount++
	return nil
}

func (c *collector) appendValue(to *plugin.Column, in *input, h *held, at int64) {
	value, age := h.value, at-h.at
	if !h.known || !h.fresh && !(age >= 0 && age <= in.holdNanos && in.holdNanos > 0) {
		to.AbsentIndices, value = append(to.AbsentIndices, c.batch.ScanCount), in.absent
	}
	h.fresh = false
	if in.code {
		to.Codes = append(to.Codes, int32(value))
		return
	}
	to.Values = append(to.Values, value)
}

// flush sends the scans of the batch, if there are any.
func (c *collector) flush() error {
	if c.batch.ScanCount == 0 {
		return nil
	}
	err := c.send(&c.batch)
	c.reset()
	return err
}

func (c *collector) reset() {
	c.batch.ScanCount, c.batch.OffsetNanos = 0, c.batch.OffsetNanos[:0]
	for _, column := range c.batch.Columns {
		column.Codes, column.Values, column.AbsentIndices = column.Codes[:0], column.Values[:0], column.AbsentIndices[:0]
	}
}

// end says what was noted and not said.
func (c *collector) end() {
	for i := range c.watches {
		c.watches[i].journal.end()
	}
}
