package can

import (
	"encoding/binary"
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"unsafe"

	"golang.org/x/sys/unix"

	"github.com/ampledger/ampledger/plugins/driver/can/wire"
)

// dial opens the plan's interface for its messages alone.
func dial(p *plan) (source, error) {
	on, err := net.InterfaceByName(p.network)
	if err != nil {
		return nil, fmt.Errorf("%q: %w; %s", p.network, err, interfaces("/sys/class/net"))
	}
	fd, err := unix.Socket(unix.AF_CAN, unix.SOCK_RAW|unix.SOCK_NONBLOCK|unix.SOCK_CLOEXEC, unix.CAN_RAW)
	if err != nil {
		return nil, fmt.Errorf("socket: %w: %s", err, hint(err))
	}
	if err := errors.Join(p.prepare(fd), timestamps(fd)); err != nil {
		return nil, errors.Join(err, unix.Close(fd))
	}
	if err := unix.Bind(fd, &unix.SockaddrCAN{Ifindex: on.Index}); err != nil {
		return nil, errors.Join(fmt.Errorf("%q is no CAN interface: %w; %s", p.network, err, interfaces("/sys/class/net")), unix.Close(fd))
	}
	return newSocket(fd, p.network)
}

// interfaces tells which CAN interfaces there are.
func interfaces(folder string) string {
	const arphrdCAN = "280" // of linux/if_arp.h
	types, _ := filepath.Glob(filepath.Join(folder, "*", "type"))
	var names []string
	for _, path := range types {
		if text, err := os.ReadFile(path); err == nil && strings.TrimSpace(string(text)) == arphrdCAN {
			names = append(names, filepath.Base(filepath.Dir(path)))
		}
	}
	if len(names) == 0 {
		return "this machine has no CAN interface"
	}
	return "the CAN interfaces here are " + strings.Join(names, ", ")
}

// prepare asks the kernel for the plan's messages, of both kinds of CAN, and for what the controller reports.
func (p *plan) prepare(fd int) error {
	longest := slices.MaxFunc(p.messages, func(a, b message) int { return a.bytes - b.bytes }).bytes
	if err := unix.SetsockoptInt(fd, unix.SOL_CAN_RAW, unix.CAN_RAW_FD_FRAMES, 1); err != nil && longest > wire.MaxClassicBytes {
		return fmt.Errorf("this kernel has no CAN FD: %w", err)
	}
	if err := unix.SetsockoptCanRawFilter(fd, unix.SOL_CAN_RAW, unix.CAN_RAW_FILTER, p.filters()); err != nil {
		return fmt.Errorf("filter: %w", err)
	}
	if err := unix.SetsockoptInt(fd, unix.SOL_CAN_RAW, unix.CAN_RAW_ERR_FILTER, errorClasses); err != nil {
		return fmt.Errorf("error filter: %w", err)
	}
	return nil
}

// filters pass the data frames of the plan's messages.
func (p *plan) filters() (list []unix.CanFilter) {
	for i := range p.messages {
		mask := uint32(unix.CAN_EFF_FLAG | unix.CAN_RTR_FLAG | unix.CAN_SFF_MASK)
		if p.messages[i].key&extendedKey != 0 {
			mask |= unix.CAN_EFF_MASK
		}
		list = append(list, unix.CanFilter{Id: p.messages[i].key, Mask: mask})
	}
	return list
}

// roomBytes is asked of the kernel for frames that wait; it gives what it may. What finds none is counted.
const roomBytes = 1 << 20

// timestamps has the kernel tell with each frame when it came and how many found no room.
func timestamps(fd int) error {
	_ = unix.SetsockoptInt(fd, unix.SOL_SOCKET, unix.SO_RCVBUF, roomBytes)
	if err := unix.SetsockoptInt(fd, unix.SOL_SOCKET, unix.SO_TIMESTAMPNS, 1); err != nil {
		return fmt.Errorf("time stamps: %w", err)
	}
	if err := unix.SetsockoptInt(fd, unix.SOL_SOCKET, unix.SO_RXQ_OVFL, 1); err != nil {
		return fmt.Errorf("count of frames without room: %w", err)
	}
	return nil
}

// socket is a socket that gives one frame a datagram. Its memory is made at the start.
type socket struct {
	*os.File
	name string
	conn syscall.RawConn
	read func(uintptr) bool // is receiveNow, made once
	poll func(uintptr)      // likewise

	header  unix.Msghdr
	block   unix.Iovec
	bytes   [wire.FlexibleSize]byte
	control [256]byte
	wait    bool
	size    int
	err     unix.Errno
	dropped uint32 // as the kernel counts: since the socket was made
}

// newSocket takes a socket that does not wait, and closes it with itself.
func newSocket(fd int, name string) (*socket, error) {
	s := &socket{File: os.NewFile(uintptr(fd), name), name: name}
	var err error
	if s.conn, err = s.SyscallConn(); err != nil {
		return nil, errors.Join(err, s.Close())
	}
	s.read = s.receiveNow
	s.poll = func(fd uintptr) { s.receiveNow(fd) }
	s.block.Base = &s.bytes[0]
	s.block.SetLen(len(s.bytes))
	s.header.Iov = &s.block
	s.header.SetIovlen(1)
	s.header.Control = &s.control[0]
	return s, nil
}

// receive is source's.
func (s *socket) receive(to *received, wait bool) error {
	s.wait = wait
	var err error
	if wait {
		err = s.conn.Read(s.read)
	} else {
		err = s.conn.Control(s.poll) // which no deadline keeps from it
	}
	if err != nil {
		return err
	}
	switch {
	case s.err == unix.EAGAIN:
		return errEmpty
	case s.err != 0:
		return fmt.Errorf("%s: %w: %s", s.name, s.err, hint(s.err))
	}
	if err := to.frame.Decode(s.bytes[:s.size]); err != nil {
		return fmt.Errorf("%s: %w", s.name, err)
	}
	return s.takeControl(to)
}

// receiveNow takes a frame, and tells whether that is done with: not if none is there and one is waited for. The call is made here because the one in
// package unix makes an address anew for each frame.
func (s *socket) receiveNow(fd uintptr) bool {
	for {
		s.header.SetControllen(len(s.control))
		size, _, err := unix.Syscall(unix.SYS_RECVMSG, fd, uintptr(unsafe.Pointer(&s.header)), unix.MSG_DONTWAIT)
		if err == unix.EINTR {
			continue
		}
		s.size, s.err = int(size), err
		return err != unix.EAGAIN || !s.wait
	}
}

// takeControl takes what the kernel tells beside a frame.
func (s *socket) takeControl(to *received) error {
	to.wallNanos, to.dropped = 0, 0
	for rest := s.control[:s.header.Controllen]; len(rest) >= unix.SizeofCmsghdr; {
		head, data, next, err := unix.ParseOneSocketControlMessage(rest)
		if err != nil {
			return fmt.Errorf("%s: %w", s.name, err)
		}
		switch {
		case head.Level != unix.SOL_SOCKET:
		case head.Type == unix.SO_TIMESTAMPNS && len(data) >= int(unsafe.Sizeof(unix.Timespec{})):
			to.wallNanos = (*unix.Timespec)(unsafe.Pointer(&data[0])).Nano()
		case head.Type == unix.SO_RXQ_OVFL && len(data) >= 4:
			dropped := binary.NativeEndian.Uint32(data)
			to.dropped, s.dropped = int64(dropped-s.dropped), dropped
		}
		rest = next
	}
	return nil
}

// hint says what an error means to whoever runs this.
func hint(err error) string {
	switch {
	case errors.Is(err, unix.ENETDOWN):
		return "the interface is down, bring it up: ip link set NAME up"
	case errors.Is(err, unix.ENODEV), errors.Is(err, unix.ENXIO):
		return "the interface has gone, see whether its adapter is connected"
	case errors.Is(err, unix.EAFNOSUPPORT), errors.Is(err, unix.EPROTONOSUPPORT):
		return "this kernel has no CAN, see whether its modules can and can_raw are there"
	case errors.Is(err, unix.EPERM), errors.Is(err, unix.EACCES):
		return "this process may not, see the rights it was started with"
	}
	return "the interface cannot be read"
}
