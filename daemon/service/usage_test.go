package service

import (
	"os"
	"testing"
)

func TestUsageOfItself(t *testing.T) {
	total := 0
	for i := range 100_000_000 { // some processor time
		total += i & 3
	}
	u, known := usageOf(os.Getpid())
	if !known || u.processor <= 0 || u.resident < 1<<20 || u.resident > 1<<36 || total == 0 {
		t.Errorf("%+v %v", u, known)
	}
	for _, pid := range []int{0, -1, 1 << 30} {
		if _, known := usageOf(pid); known {
			t.Errorf("process %d is known", pid)
		}
	}
}
