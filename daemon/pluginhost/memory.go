package pluginhost

import (
	"fmt"
	"time"
)

// DefaultMemoryMegabytes is what a plugin may hold if its Program does not say: some ten times what the shipped ones need, or an estimator
// in Python.
const DefaultMemoryMegabytes = 512

// What is watched is resident memory, as far as /proc tells it: limits on the address space are of no use for programs that reserve far more
// of it than they ever touch, as Go's and others' runtimes do.
const (
	lookEvery = 250 * time.Millisecond
	megabyte  = 1 << 20
)

// watchMemory kills the process as soon as it, or all of its group together, is seen to hold more than most bytes. It returns when the process has
// ended.
func (c *command) watchMemory(most uint64) {
	ticker := time.NewTicker(lookEvery)
	defer ticker.Stop()
	for {
		select {
		case <-c.exited:
			return
		case <-ticker.C:
		}
		if held := c.resident(); held > most {
			c.condemn(fmt.Errorf("held %d MB of memory, %d MB are allowed: it was killed", held/megabyte, most/megabyte))
			<-c.exited
			return
		}
	}
}

// resident is what the process holds now, or its group held a little earlier, whichever is more.
func (c *command) resident() uint64 {
	own, _ := UsageOf(c.cmd.Process.Pid) // not known = it has ended, or it cannot be watched here
	return max(own.ResidentBytes, c.census.resident(c.cmd.Process.Pid))
}

// condemn kills the process for a reason, which is what its calls return from then on. The first one stands.
func (c *command) condemn(why error) {
	c.mu.Lock()
	if c.verdict == nil {
		c.verdict = why
	}
	c.mu.Unlock()
	c.kill()
}

// condemned gives the reason why the process was killed; nil = there was none.
func (c *command) condemned() error {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.verdict
}
