package service

import (
	"bytes"
	"fmt"
	"os"
	"strconv"
	"time"
)

// usage is what a process has taken of the machine.
type usage struct {
	processor time.Duration
	resident  uint64 // bytes
}

// ticksPerSecond of the times in /proc: USER_HZ, which Linux fixes for programs (proc(5), time(7)).
const ticksPerSecond = 100

// usageOf reads a process's usage from /proc; known = false: there is no such process, or no /proc.
func usageOf(pid int) (u usage, known bool) {
	if pid <= 0 {
		return u, false
	}
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		return u, false
	}
	// The name stands in brackets and may hold anything; behind it, utime, stime and rss are fields 14, 15 and 24 (proc(5)), so 11, 12 and 21.
	fields := bytes.Fields(text[bytes.LastIndexByte(text, ')')+1:])
	if len(fields) < 22 {
		return u, false
	}
	var figures [3]uint64
	for i, at := range [...]int{11, 12, 21} {
		if figures[i], err = strconv.ParseUint(string(fields[at]), 10, 64); err != nil {
			return u, false
		}
	}
	u.processor = time.Duration(figures[0]+figures[1]) * time.Second / ticksPerSecond
	u.resident = figures[2] * uint64(os.Getpagesize())
	return u, true
}
