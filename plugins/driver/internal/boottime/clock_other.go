//go:build !linux

package boottime

import "errors"

// Nanos fails: the clock is Linux' alone.
func Nanos() (int64, error) {
	return 0, errors.New("this system has no CLOCK_BOOTTIME, which is Linux' alone")
}
