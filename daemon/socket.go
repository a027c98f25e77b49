package daemon

import (
	"errors"
	"fmt"
	"net"
	"os"
	"syscall"
	"time"
)

// longestSocketPath is what sockaddr_un holds on Linux, less the closing zero.
const longestSocketPath = 107

// listenUnix listens on a socket only the owner and the group may use. One that a dead daemon left behind is taken over; one that a
// living daemon serves is not.
func listenUnix(path string) (net.Listener, error) {
	if len(path) > longestSocketPath {
		return nil, fmt.Errorf("listen: the path of the socket is %d bytes long, the system allows %d: choose a shorter listen.unix (%s)",
			len(path), longestSocketPath, path)
	}
	if err := clearSocket(path); err != nil {
		return nil, fmt.Errorf("listen: %w", err)
	}
	listener, err := net.Listen("unix", path)
	if err != nil {
		return nil, err
	}
	if err := os.Chmod(path, 0o660); err != nil {
		return nil, errors.Join(err, listener.Close())
	}
	return listener, nil
}

func clearSocket(path string) error {
	info, err := os.Lstat(path)
	switch {
	case errors.Is(err, os.ErrNotExist):
		return nil
	case err != nil:
		return err
	case info.Mode().Type() != os.ModeSocket:
		return fmt.Errorf("%s is there and is no socket", path)
	}
	conn, err := net.DialTimeout("unix", path, time.Second)
	if err == nil {
		return errors.Join(fmt.Errorf("another daemon serves %s", path), conn.Close())
	}
	if !errors.Is(err, syscall.ECONNREFUSED) {
		return err
	}
	return os.Remove(path)
}
