//go:build !linux

package polling

import "errors"

// Boottime fails: only Linux has this clock.
func Boottime() (int64, error) {
	return 0, errors.New("CLOCK_BOOTTIME: only Linux has it, and this driver needs it")
}
