package pluginhost

import (
	"bytes"
	"fmt"
	"os"
	"strconv"
	"sync"
	"time"
)

// Usage is what a process has taken of the machine.
type Usage struct {
	Processor     time.Duration
	ResidentBytes uint64
	group         int // process group it belongs to
}

// ticksPerSecond of the times in /proc: USER_HZ, which Linux fixes for programs (proc(5), time(7)).
const ticksPerSecond = 100

// UsageOf reads a process's usage from /proc; known = false: there is no such process, or no /proc.
func UsageOf(pid int) (u Usage, known bool) {
	if pid <= 0 {
		return u, false
	}
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		return u, false
	}
	// The name stands in brackets and may hold anything; behind it, pgrp, utime, stime and rss are fields 5, 14, 15 and 24 (proc(5)), so 2, 11, 12
	// and 21.
	fields := bytes.Fields(text[bytes.LastIndexByte(text, ')')+1:])
	if len(fields) < 22 {
		return u, false
	}
	var figures [4]uint64
	for i, at := range [...]int{2, 11, 12, 21} {
		if figures[i], err = strconv.ParseUint(string(fields[at]), 10, 64); err != nil {
			return u, false
		}
	}
	u.group = int(figures[0])
	u.Processor = time.Duration(figures[1]+figures[2]) * time.Second / ticksPerSecond
	u.ResidentBytes = figures[3] * uint64(os.Getpagesize())
	return u, true
}

// census knows what memory each process group holds. To look at all processes takes milliseconds, so what was seen is used for a while, by all
// who ask. Safe for concurrent use.
type census struct {
	mu   sync.Mutex
	at   time.Time
	held map[int]uint64 // bytes by group
}

// censusEvery is how long what was seen is used.
const censusEvery = 2 * time.Second

// resident sums the memory that the processes of a group hold; what they share is counted with each of them.
func (c *census) resident(group int) uint64 {
	c.mu.Lock()
	defer c.mu.Unlock()
	if time.Since(c.at) >= censusEvery {
		c.take()
		c.at = time.Now()
	}
	return c.held[group]
}

// forget takes a group out that has ended: its number may be another's next.
func (c *census) forget(group int) {
	c.mu.Lock()
	defer c.mu.Unlock()
	delete(c.held, group)
}

func (c *census) take() {
	c.held = map[int]uint64{}
	entries, _ := os.ReadDir("/proc") // none = nothing is known
	for _, entry := range entries {
		if pid, err := strconv.Atoi(entry.Name()); err == nil {
			if u, known := UsageOf(pid); known {
				c.held[u.group] += u.ResidentBytes
			}
		}
	}
}
