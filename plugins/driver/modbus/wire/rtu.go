package wire

import (
	"encoding/binary"
	"errors"
	"fmt"
	"os"
	"time"
)

// rtu is the framing of a serial line:
//
//	server(1)  request or answer  checksum(2), low byte first
type rtu struct{ silence time.Duration }

// NewRTU gives a client of a serial line that waits so long for an answer.
func NewRTU(connection Connection, bitsPerSecond int, timeout time.Duration) *Client {
	return &Client{connection: connection, framing: &rtu{silence(bitsPerSecond)}, timeout: timeout}
}

// silence is what parts frames: the time of 3.5 characters of 11 bits, or 1.75 ms above 19200 bit/s (MODBUS over Serial Line V1.02, 2.5.1.1).
func silence(bitsPerSecond int) time.Duration {
	if bitsPerSecond > 19200 {
		return 1750 * time.Microsecond
	}
	return time.Duration(3.5 * 11 * 1e9 / float64(bitsPerSecond))
}

// prepare waits until the line is silent, and discards what comes until then: it is no answer to a request that was not made.
func (f *rtu) prepare(c *Client) error {
	for end := time.Now().Add(c.timeout); time.Now().Before(end); {
		if err := c.connection.SetDeadline(time.Now().Add(f.silence)); err != nil {
			return err
		}
		_, err := c.connection.Read(c.in[:])
		if errors.Is(err, os.ErrDeadlineExceeded) {
			return nil
		}
		if err != nil {
			return err
		}
	}
	return fmt.Errorf("%w: the line is never silent", ErrDamaged)
}

func (*rtu) seal(out []byte, server byte, request [5]byte) []byte {
	out = append(append(out, server), request[:]...)
	return binary.LittleEndian.AppendUint16(out, checksum(out))
}

// receive reads to the end that the answer itself gives.
func (*rtu) receive(c *Client, server byte) ([]byte, error) {
	const least = 5 // an exception
	for n, need := 0, least; ; {
		got, err := c.connection.Read(c.in[n:])
		if n += got; err != nil {
			if n > 0 && errors.Is(err, os.ErrDeadlineExceeded) {
				return nil, fmt.Errorf("%w: only % x came of it", ErrDamaged, c.in[:min(n, 16)])
			}
			return nil, err
		}
		if n >= least && c.in[1]&0x80 == 0 {
			need = least + int(c.in[2])
		}
		switch {
		case n < need && n < len(c.in):
		case n != need:
			return nil, fmt.Errorf("%w: %d bytes came, it has %d", ErrDamaged, n, need)
		default:
			return open(c.in[:n], server)
		}
	}
}

// open checks a frame and gives what is in it.
func open(frame []byte, server byte) ([]byte, error) {
	inside := len(frame) - 2
	switch {
	case binary.LittleEndian.Uint16(frame[inside:]) != checksum(frame[:inside]):
		return nil, fmt.Errorf("%w: its checksum is wrong", ErrDamaged)
	case frame[0] != server:
		return nil, fmt.Errorf("%w: %d instead of %d", ErrForeign, frame[0], server)
	}
	return frame[1:inside], nil
}

// checksum is the CRC-16 with the polynomial x^16 + x^15 + x^2 + 1, reflected, that begins with all ones.
func checksum(frame []byte) uint16 {
	sum := uint16(0xffff)
	for _, b := range frame {
		sum = sum>>8 ^ checksums[byte(sum)^b]
	}
	return sum
}

// checksums are those of single bytes.
var checksums = func() (table [256]uint16) {
	for i := range table {
		sum := uint16(i)
		for range 8 {
			if sum&1 != 0 {
				sum = sum>>1 ^ 0xa001
			} else {
				sum >>= 1
			}
		}
		table[i] = sum
	}
	return table
}()
