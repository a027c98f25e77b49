package modbus

import (
	"errors"
	"fmt"
	"io"
	"log"
	"os"
	"syscall"

	protocol "github.com/simonvetter/modbus"

	"github.com/ampledger/ampledger/plugins/driver/internal/polling"
)

// client is what is needed of the library's.
type client interface {
	Open() error
	Close() error
	SetUnitId(server uint8) error
	ReadRawBytes(address, bytes uint16, table protocol.RegType) ([]byte, error)
}

// line is the connection to the servers, opened when it is needed.
type line struct {
	plan   *linePlan
	client client
	now    func() (int64, error)
	chance func() float64

	open  bool
	retry retry // of opening it
	quiet int64 // a serial line stays closed until then, ns: late answers find nobody
}

// newClient makes a client that logs what it has to say; left alone it would write to standard output.
func newClient(p *linePlan, log *log.Logger) (client, error) {
	return protocol.NewClient(&protocol.ClientConfiguration{
		URL: p.url, Speed: uint(p.speed), DataBits: 8, Parity: p.parity, StopBits: uint(p.stops), Timeout: p.timeout, Logger: log,
	})
}

var (
	errLater     = errors.New("not tried again yet")
	errNotOpened = errors.New("cannot be opened")
	errNoRight   = errors.New("there is no right to it")
)

// ask makes a request and gives the registers as they came, and when they were read. After anything but an answer the line is closed.
func (l *line) ask(r *read) (registers []byte, when polling.Span, err error) {
	kept := l.open
	registers, when, err = l.try(r)
	if kept && !l.plan.serial && closedByServer(err) {
		return l.try(r)
	}
	return registers, when, err
}

func (l *line) try(r *read) (registers []byte, when polling.Span, err error) {
	if err := l.connect(); err != nil {
		return nil, when, err
	}
	if err := l.client.SetUnitId(r.server); err != nil {
		return nil, when, err
	}
	if when.From, err = l.now(); err != nil {
		return nil, when, err
	}
	registers, err = l.client.ReadRawBytes(r.address, uint16(2*r.count), r.table)
	var stopped error
	if when.To, stopped = l.now(); stopped != nil {
		return nil, when, stopped
	}
	if err != nil && !isException(err) {
		l.quiet = when.To + int64(l.plan.timeout)
		err = errors.Join(err, l.close())
	}
	return registers, when, err
}

// connect opens the line if it is not, and may be.
func (l *line) connect() error {
	if l.open {
		return nil
	}
	now, err := l.now()
	if err != nil {
		return err
	}
	if !l.retry.due(now) || l.plan.serial && now < l.quiet {
		return errLater
	}
	if err := l.client.Open(); err != nil {
		l.retry.failed(now, l.chance())
		if errors.Is(err, os.ErrPermission) {
			return fmt.Errorf("%w: %w", errNoRight, err)
		}
		return fmt.Errorf("%w: %w", errNotOpened, err)
	}
	l.open, l.retry = true, retry{}
	return nil
}

func (l *line) close() error {
	if !l.open {
		return nil
	}
	l.open = false
	return l.client.Close()
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
