package polling

import (
	"fmt"

	"golang.org/x/sys/unix"
)

// Boottime reads CLOCK_BOOTTIME in ns.
func Boottime() (int64, error) {
	var t unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_BOOTTIME, &t); err != nil {
		return 0, fmt.Errorf("CLOCK_BOOTTIME: %w", err)
	}
	return t.Nano(), nil
}
