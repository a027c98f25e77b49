//go:build !linux

package can

import "errors"

// dial fails: SocketCAN is Linux' alone.
func dial(*plan) (source, error) {
	return nil, errors.New("CAN interfaces are read on Linux only; a log plays anywhere")
}
