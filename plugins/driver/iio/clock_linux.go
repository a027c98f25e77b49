package iio

import (
	"fmt"

	"golang.org/x/sys/unix"
)

// boottime reads CLOCK_BOOTTIME in ns: it goes on while the machine sleeps and does not follow the wall clock.
func boottime() (int64, error) {
	var t unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_BOOTTIME, &t); err != nil {
		return 0, fmt.Errorf("CLOCK_BOOTTIME: %w", err)
	}
	return t.Nano(), nil
}
