package modbus

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"syscall"
	"time"

	"github.com/ampledger/ampledger/plugins/driver/internal/polling"
	"github.com/ampledger/ampledger/plugins/driver/modbus/wire"
)

// client is what is needed of a wire.Client.
type client interface {
	Prepare() error
	Read(wire.Request) (registers []byte, err error)
	Close() error
}

// line is the connection to the servers, opened when it is needed.
type line struct {
	plan   *linePlan
	dial   func() (client, error)
	now    func() (int64, error)
	chance func() float64

	client client // nil = closed
	retry  retry  // of opening it
	quiet  int64  // a serial line stays closed until then, ns: late answers find nobody
}

// leastDial is how long opening a connection may take at least: longer than an answer does over one that is open.
const leastDial = time.Second

func newLine(ctx context.Context, d *Driver) *line {
	p := &d.plan.line
	l := &line{plan: p, now: d.now, chance: d.chance}
	dialer := &net.Dialer{Timeout: max(p.timeout, leastDial)}
	l.dial = func() (client, error) {
		if p.serial {
			file, err := openSerial(p)
			return wire.NewRTU(file, p.speed, p.timeout), err
		}
		connection, err := dialer.DialContext(ctx, "tcp", p.name)
		return wire.NewTCP(connection, p.timeout), err
	}
	return l
}

var (
	errLater     = errors.New("not tried again yet")
	errNotOpened = errors.New("there is no connection")
)

// ask makes a request and gives the registers as they came, and when they were read. After anything but an answer the line is closed.
func (l *line) ask(r wire.Request) (registers []byte, when polling.Span, err error) {
	kept := l.client != nil
	registers, when, err = l.try(r)
	if kept && !l.plan.serial && closedByServer(err) {
		return l.try(r)
	}
	return registers, when, err
}

func (l *line) try(r wire.Request) (registers []byte, when polling.Span, err error) {
	if err := l.connect(); err != nil {
		return nil, when, err
	}
	if err = l.client.Prepare(); err == nil {
		registers, when, err = l.read(r)
	}
	if err != nil && !isException(err) {
		now, stopped := l.now()
		l.quiet = now + int64(l.plan.timeout)
		err = errors.Join(err, stopped, l.close())
	}
	return registers, when, err
}

func (l *line) read(r wire.Request) (registers []byte, when polling.Span, err error) {
	if when.From, err = l.now(); err != nil {
		return nil, when, err
	}
	if registers, err = l.client.Read(r); err != nil {
		return nil, when, err
	}
	when.To, err = l.now()
	return registers, when, err
}

// connect opens the line if it is not, and may be.
func (l *line) connect() error {
	if l.client != nil {
		return nil
	}
	now, err := l.now()
	if err != nil {
		return err
	}
	if !l.retry.due(now) || l.plan.serial && now < l.quiet {
		return errLater
	}
	opened, err := l.dial()
	if err != nil {
		l.retry.failed(now, l.chance())
		return fmt.Errorf("%w: %w", errNotOpened, err)
	}
	l.client, l.retry = opened, retry{}
	return nil
}

func (l *line) close() error {
	if l.client == nil {
		return nil
	}
	err := l.client.Close()
	l.client = nil
	return err
}

// closedByServer tells that a connection had ended, as one that was idle for long may have.
func closedByServer(err error) bool {
	for _, end := range []error{io.EOF, io.ErrUnexpectedEOF, syscall.ECONNRESET, syscall.EPIPE} {
		if errors.Is(err, end) {
			return true
		}
	}
	return false
}
