package modbus

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log"
	"time"

	"github.com/ampledger/ampledger/plugins/driver/internal/polling"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// How long there may be nothing to read before the stream ends: before the first scan, and after it.
const (
	patienceAtFirst = 3 * time.Second
	patience        = 30 * time.Second
)

// meter makes scans of the reads of a plan, a polling.Source.
type meter struct {
	line   *line
	polled []*polled
	inputs int
	chance func() float64
	ended  func() error // of the context; nil while it goes on
	log    *log.Logger

	heard   int64 // when something was read, or the meter made
	patient time.Duration
	last    error // why something was not read
}

// polled is a read and how it goes.
type polled struct {
	*read
	server  *retry // shared by all reads of a server
	checked bool   // its first values were plausible
	spell   spell
	why     error // the newest reason why it had no value
}

func newMeter(ctx context.Context, d *Driver) (*meter, error) {
	m := &meter{
		line:   newLine(ctx, d),
		chance: d.chance, log: d.log, patient: patienceAtFirst,
		ended: func() error { return context.Cause(ctx) },
	}
	servers := map[uint8]*retry{}
	for i := range d.plan.reads {
		r := &d.plan.reads[i]
		if servers[r.Server] == nil {
			servers[r.Server] = &retry{}
		}
		m.polled = append(m.polled, &polled{read: r, server: servers[r.Server]})
		m.inputs += len(r.inputs)
	}
	var err error
	m.heard, err = d.now()
	return m, err
}

// Take makes the requests one after the other.
func (m *meter) Take(columns []*plugin.Column, scan int) (span polling.Span, taken bool, err error) {
	for _, p := range m.polled {
		if err := m.ended(); err != nil {
			return span, false, err
		}
		now, err := m.line.now()
		if err != nil {
			return span, false, err
		}
		registers, when, err := m.ask(p, now)
		if err != nil {
			return span, false, err
		}
		if registers != nil && !taken {
			taken, span.From = true, when.From
		}
		if registers != nil {
			span.To = when.To
		}
		p.fill(columns, scan, registers)
		columns = columns[len(p.inputs):]
	}
	return span, taken, m.wait(taken)
}

// ask makes the request of one read, if its server is not left alone. No registers = there is no value in this scan.
func (m *meter) ask(p *polled, now int64) (registers []byte, when polling.Span, err error) {
	err = errLater
	if p.server.due(now) {
		registers, when, err = m.line.ask(p.Request)
		after, stopped := m.line.now()
		if stopped != nil {
			return nil, when, stopped
		}
		m.judge(p, after, err)
	}
	switch {
	case errors.Is(err, fs.ErrPermission):
		return nil, when, m.fault(explain(err, m.line.plan))
	case err != nil:
		m.note(p, now, err)
		return nil, when, nil
	case !p.checked:
		p.checked = true
		if err := p.plausible(registers); err != nil {
			return nil, when, m.fault(err)
		}
	}
	return registers, when, nil
}

// judge lets a server that gave no answer be for a while, from now on.
func (m *meter) judge(p *polled, now int64, err error) {
	switch {
	case err == nil:
		p.spell.over()
		*p.server = retry{}
	case isException(err):
		*p.server = retry{}
	case errors.Is(err, errLater) || errors.Is(err, errNotOpened):
		// The server was not asked.
	default:
		p.server.failed(now, m.chance())
	}
}

// note remembers why there is no value, and says it if it was not said lately.
func (m *meter) note(p *polled, now int64, err error) {
	if !errors.Is(err, errLater) {
		m.last = fmt.Errorf("%v: %w", p, explain(err, m.line.plan))
		p.why = m.last
	}
	if polls := p.spell.lost(now); polls > 0 {
		m.log.Printf("%s: no value in %d polls: %v", m.line.plan.name, polls, cmp.Or(p.why, m.last))
	}
}

// wait gives an error once nothing was read for too long.
func (m *meter) wait(taken bool) error {
	now, err := m.line.now()
	if err != nil {
		return err
	}
	if taken {
		m.heard, m.patient = now, patience
	}
	if silence := time.Duration(now - m.heard); silence > m.patient {
		return m.fault(fmt.Errorf("nothing could be read for %v: %w", silence.Round(time.Second/10), m.last))
	}
	return nil
}

func (m *meter) fault(err error) error { return fmt.Errorf("%s: %w", m.line.plan.name, err) }

// fill appends the values of an answer, or that there are none.
func (p *polled) fill(columns []*plugin.Column, scan int, registers []byte) {
	for i := range p.inputs {
		in, column, value := &p.inputs[i], columns[i], 0.0
		if registers == nil {
			column.AbsentIndices = append(column.AbsentIndices, uint32(scan))
		} else {
			value = in.value(registers)
		}
		if in.Unit == "code" {
			column.Codes = append(column.Codes, int32(value))
		} else {
			column.Values = append(column.Values, value)
		}
	}
}
