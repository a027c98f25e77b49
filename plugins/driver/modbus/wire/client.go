package wire

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"time"
)

// The functions.
const (
	Holding byte = 0x03 // reads holding registers
	Input   byte = 0x04 // reads input registers
)

// MostRegisters is what one request may ask for.
const MostRegisters = 125

// The faults of an answer. Beside them are Exceptions and the errors of the connection, os.ErrDeadlineExceeded among them.
var (
	ErrDamaged  = errors.New("the answer is damaged")
	ErrForeign  = errors.New("another server answers")
	ErrNonsense = errors.New("this is no answer to the request")
)

// Connection is a stream with deadlines, such as net.Conn and the os.File of a serial line.
type Connection interface {
	io.ReadWriteCloser
	// SetDeadline lets reading and writing fail after a time.
	SetDeadline(time.Time) error
}

// Request is for the values of registers that follow each other.
type Request struct {
	Server   byte
	Function byte // Holding or Input
	Address  uint16
	Count    int // 1 to MostRegisters
}

// Client asks over one connection.
type Client struct {
	connection Connection
	framing    framing
	timeout    time.Duration
	out, in    [260]byte // the longest frame there is
}

// framing is what goes around a request and its answer.
type framing interface {
	// prepare waits until a request may be sent.
	prepare(*Client) error
	// seal puts a request of five bytes into a frame.
	seal(out []byte, server byte, request [5]byte) []byte
	// receive gives the next answer without its frame, function first.
	receive(c *Client, server byte) ([]byte, error)
}

// Prepare waits until a request may be sent, so that the time of Read is that of the request and its answer alone.
func (c *Client) Prepare() error {
	if err := c.connection.SetDeadline(time.Now().Add(c.timeout)); err != nil {
		return err
	}
	return c.framing.prepare(c)
}

// Read sends a request and gives the registers, two bytes each as they were sent. They hold until the next call.
func (c *Client) Read(r Request) (registers []byte, err error) {
	if err := c.connection.SetDeadline(time.Now().Add(c.timeout)); err != nil {
		return nil, err
	}
	request := [5]byte{r.Function}
	binary.BigEndian.PutUint16(request[1:], r.Address)
	binary.BigEndian.PutUint16(request[3:], uint16(r.Count))
	if _, err := c.connection.Write(c.framing.seal(c.out[:0], r.Server, request)); err != nil {
		return nil, err
	}
	answer, err := c.framing.receive(c, r.Server)
	if err != nil {
		return nil, err
	}
	return r.registers(answer)
}

// registers takes an answer apart.
func (r Request) registers(answer []byte) ([]byte, error) {
	switch want := 2 * r.Count; {
	case answer[0] == r.Function|0x80 && len(answer) == 2:
		return nil, Exception(answer[1])
	case answer[0] != r.Function:
		return nil, fmt.Errorf("%w: it is of function %02X", ErrNonsense, answer[0])
	case len(answer) != 2+want || int(answer[1]) != want:
		return nil, fmt.Errorf("%w: it has %d bytes of data, %d registers are %d", ErrNonsense, len(answer)-2, r.Count, want)
	}
	return answer[2:], nil
}

// Close closes the connection.
func (c *Client) Close() error { return c.connection.Close() }
