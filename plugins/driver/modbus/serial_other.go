//go:build !linux

package modbus

import (
	"errors"
	"os"
)

// openSerial fails: so does the driver's clock.
func openSerial(*linePlan) (*os.File, error) {
	return nil, errors.New("serial lines are opened on Linux only")
}
