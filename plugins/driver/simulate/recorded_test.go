package simulate

import (
	"math"
	"os"
	"testing"
	"time"
)

func ns(seconds float64) int64 { return int64(seconds * float64(time.Second)) }

func TestRecorded(t *testing.T) {
	t.Chdir(t.TempDir())
	if err := os.WriteFile("r.csv", []byte("a,t,mode\n1,100,x\n,100.5,x\n3,101,x\n3,102,y\n-5,102,y\n-7,104,y\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	r, _, err := readRecorded("r.csv", "a", "t", 2)
	if err != nil || r.LengthNanos() != ns(4) {
		t.Fatalf("%v, %v, want 4 s", r, err)
	}
	for seconds, want := range map[float64]float64{0: 2, 0.25: 3, 1: 6, 1.999: 6, 2: -10, 3: -12, 4: -14} {
		if got := r.At(ns(seconds), new(int)); math.Abs(got-want) > 1e-12 {
			t.Errorf("at %v s: %v A, want %v", seconds, got, want)
		}
	}
}
