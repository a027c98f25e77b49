package modbus

import (
	"fmt"
	"os"

	"golang.org/x/sys/unix"
)

var speedCodes = map[int]uint32{
	1200: unix.B1200, 2400: unix.B2400, 4800: unix.B4800, 9600: unix.B9600, 19200: unix.B19200, 38400: unix.B38400, 57600: unix.B57600,
	115200: unix.B115200, 230400: unix.B230400, 460800: unix.B460800, 921600: unix.B921600,
}

// openSerial opens a line for itself alone, raw, and drops what lies in it.
func openSerial(p *linePlan) (*os.File, error) {
	file, err := os.OpenFile(p.name, os.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK, 0)
	if err != nil {
		return nil, err
	}
	raw, err := file.SyscallConn()
	if err == nil {
		var failed error
		err = raw.Control(func(fd uintptr) { failed = setUp(int(fd), p) })
		if err == nil && failed != nil {
			err = fmt.Errorf("%s: it cannot be set up as a serial line: %w", p.name, failed)
		}
	}
	if err != nil {
		_ = file.Close() // the first error is the one to tell
		return nil, err
	}
	return file, nil
}

func setUp(fd int, p *linePlan) error {
	control := speedCodes[p.speed] | unix.CS8 | unix.CREAD | unix.CLOCAL
	var input uint32
	switch p.parity {
	case "even":
		control, input = control|unix.PARENB, unix.INPCK
	case "odd":
		control, input = control|unix.PARENB|unix.PARODD, unix.INPCK
	}
	if p.stops == 2 {
		control |= unix.CSTOPB
	}
	settings := &unix.Termios{Iflag: input, Cflag: control, Ispeed: speedCodes[p.speed], Ospeed: speedCodes[p.speed]}
	settings.Cc[unix.VMIN] = 1
	if err := unix.IoctlSetTermios(fd, unix.TCSETS, settings); err != nil {
		return err
	}
	if err := unix.IoctlSetInt(fd, unix.TIOCEXCL, 0); err != nil {
		return err
	}
	return unix.IoctlSetInt(fd, unix.TCFLSH, unix.TCIOFLUSH)
}
