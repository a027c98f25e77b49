package daemon

import (
	"fmt"
	"os"
	"strings"

	"golang.org/x/sys/unix"

	"github.com/ampledger/ampledger/daemon/store"
)

// hostClock reads the machine's two clocks: the wall clock, and the time since it was started, which goes on while it sleeps and is never set.
func hostClock() (store.Clock, error) {
	id, err := os.ReadFile("/proc/sys/kernel/random/boot_id")
	if err != nil {
		return store.Clock{}, fmt.Errorf("boot id: %w", err)
	}
	var boot, wall unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_BOOTTIME, &boot); err != nil {
		return store.Clock{}, fmt.Errorf("time since the machine was started: %w", err)
	}
	if err := unix.ClockGettime(unix.CLOCK_REALTIME, &wall); err != nil {
		return store.Clock{}, fmt.Errorf("wall clock: %w", err)
	}
	return store.Clock{BootID: strings.TrimSpace(string(id)), BootNanos: boot.Nano(), WallNanos: wall.Nano()}, nil
}
