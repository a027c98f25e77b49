package can

import (
	"net"
	"sync"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"github.com/ampledger/ampledger/plugins/driver/can/wire"
	"github.com/ampledger/ampledger/plugins/driver/internal/boottime"
)

// bus stands in for a CAN interface, which neither this machine nor the one that checks changes need have: datagrams on the loopback, which the kernel stamps,
// queues and counts with the same code, hold one frame each as on a CAN socket. Only the opening of that socket is not what it is live.
type bus struct {
	t    testing.TB
	from net.PacketConn
	room int // bytes a socket has for frames that wait; 0 = as live
	open func()

	mu sync.Mutex
	to []net.Addr
}

func newBus(t testing.TB) *bus {
	t.Helper()
	from, err := net.ListenPacket("udp4", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = from.Close() })
	return &bus{t: t, from: from}
}

// dial opens a socket on the bus.
func (b *bus) dial(p *plan) (source, error) {
	fd, err := unix.Socket(unix.AF_INET, unix.SOCK_DGRAM|unix.SOCK_NONBLOCK|unix.SOCK_CLOEXEC, 0)
	if err != nil {
		return nil, err
	}
	if err := unix.Bind(fd, &unix.SockaddrInet4{Addr: [4]byte{127, 0, 0, 1}}); err != nil {
		return nil, err
	}
	if err := timestamps(fd); err != nil {
		return nil, err
	}
	if b.room > 0 {
		if err := unix.SetsockoptInt(fd, unix.SOL_SOCKET, unix.SO_RCVBUF, b.room); err != nil {
			return nil, err
		}
	}
	address, err := unix.Getsockname(fd)
	if err != nil {
		return nil, err
	}
	b.mu.Lock()
	b.to = append(b.to, &net.UDPAddr{IP: net.IPv4(127, 0, 0, 1), Port: address.(*unix.SockaddrInet4).Port})
	b.mu.Unlock()
	if b.open != nil {
		b.open()
	}
	return newSocket(fd, p.network)
}

// warm has the kernel stamp datagrams as they come. It begins to do so some time after the first socket has asked for it, and gives those
// that came before the time of their reading.
func (b *bus) warm() {
	b.t.Helper()
	from, err := b.dial(&plan{network: "warm"})
	if err != nil {
		b.t.Fatal(err)
	}
	b.t.Cleanup(func() { _ = from.Close() })
	tick := time.NewTicker(5 * time.Millisecond)
	defer tick.Stop()
	for got := (received{}); ; {
		sent := time.Now()
		b.sendFrame(frameOf(0x7ff))
		<-tick.C
		if err := from.receive(&got, true); err != nil {
			b.t.Fatal(err)
		}
		if time.Unix(0, got.wallNanos).Sub(sent) < time.Millisecond {
			return
		}
	}
}

// send sends bytes to every socket that was opened; those that are closed again do not hear it.
func (b *bus) send(bytes []byte) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, to := range b.to {
		_, _ = b.from.WriteTo(bytes, to)
	}
}

func (b *bus) sendFrame(f wire.Frame) { b.send(f.Encode(nil)) }

// driver gives one on the bus.
func (b *bus) driver() *Driver {
	d, _ := heard()
	d.dial = b.dial
	return d
}

// each calls at a pace until the test is over.
func (b *bus) each(pace time.Duration, call func(i int)) {
	stop, stopped := make(chan struct{}), make(chan struct{})
	b.t.Cleanup(func() { close(stop); <-stopped })
	go func() {
		defer close(stopped)
		tick := time.NewTicker(pace)
		defer tick.Stop()
		for i := 0; ; i++ {
			call(i)
			select {
			case <-tick.C:
			case <-stop:
				return
			}
		}
	}()
}

func boot(t testing.TB) int64 {
	t.Helper()
	now, err := boottime.Nanos()
	if err != nil {
		t.Fatal(err)
	}
	return now
}
