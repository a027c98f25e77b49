package pluginhost

import (
	"os"
	"syscall"
)

// stepBack lets a process, and what it will start, give way to others: a tenth of the processor where others want all of it. One that gives
// way as much already is left alone.
func stepBack(leader *os.Process) error {
	const nice = 10
	priority, err := syscall.Getpriority(syscall.PRIO_PROCESS, leader.Pid)
	if err != nil || 20-priority >= nice { // the kernel gives 20 less niceness, so that it is never negative
		return err
	}
	return syscall.Setpriority(syscall.PRIO_PGRP, leader.Pid, nice)
}
