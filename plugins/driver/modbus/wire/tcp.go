package wire

import (
	"encoding/binary"
	"fmt"
	"io"
	"time"
)

// mbap is the framing of TCP:
//
//	transaction(2)  protocol(2) = 0  length(2) of all that follows  server(1)  request or answer
type mbap struct{ transaction uint16 }

const mbapBytes = 7

// NewTCP gives a client of a TCP connection that waits so long for an answer.
func NewTCP(connection Connection, timeout time.Duration) *Client {
	return &Client{connection: connection, framing: &mbap{}, timeout: timeout}
}

func (*mbap) prepare(*Client) error { return nil }

func (m *mbap) seal(out []byte, server byte, request [5]byte) []byte {
	m.transaction++
	out = binary.BigEndian.AppendUint16(out, m.transaction)
	out = append(out, 0, 0, 0, byte(1+len(request)), server)
	return append(out, request[:]...)
}

// receive passes over the answers to requests before.
func (m *mbap) receive(c *Client, server byte) ([]byte, error) {
	for {
		head := c.in[:mbapBytes]
		if _, err := io.ReadFull(c.connection, head); err != nil {
			return nil, err
		}
		length := int(binary.BigEndian.Uint16(head[4:]))
		if head[2] != 0 || head[3] != 0 || length < 3 || length > len(c.in)-mbapBytes+1 {
			return nil, fmt.Errorf("%w: it begins with % x", ErrNonsense, head)
		}
		body := c.in[mbapBytes : mbapBytes+length-1]
		if _, err := io.ReadFull(c.connection, body); err != nil {
			return nil, err
		}
		switch {
		case binary.BigEndian.Uint16(head) != m.transaction:
		case head[6] != server:
			return nil, fmt.Errorf("%w: %d instead of %d", ErrForeign, head[6], server)
		default:
			return body, nil
		}
	}
}
