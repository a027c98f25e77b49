package pluginhost

import (
	"os"
	"testing"
)

func TestUsageOfItself(t *testing.T) {
	total := 0
	for i := range 100_000_000 { // some processor time
		total += i & 3
	}
	u, known := UsageOf(os.Getpid())
	if !known || u.Processor <= 0 || u.ResidentBytes < 1<<20 || u.ResidentBytes > 1<<36 || total == 0 {
		t.Errorf("%+v %v", u, known)
	}
	for _, pid := range []int{0, -1, 1 << 30} {
		if _, known := UsageOf(pid); known {
			t.Errorf("process %d is known", pid)
		}
	}
}

func TestMemoryThatAProgramMayHold(t *testing.T) {
	for megabytes, want := range map[float64]uint64{0: DefaultMemoryMegabytes << 20, 0.5: 1 << 19, 1e300: 1 << 60} {
		if got := (Program{MemoryMegabytes: megabytes}).memory(); got != want {
			t.Errorf("%g MB are %d bytes, want %d", megabytes, got, want)
		}
	}
}

func BenchmarkCensus(b *testing.B) {
	var c census
	for b.Loop() {
		c.take()
	}
}
