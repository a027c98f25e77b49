package guard

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"github.com/ampledger/ampledger/daemon/scan"
)

// history is the slow, obvious guard: it keeps every current, 1 ms apart, and judges each scan by looking back over all of them.
type history []float64

// pickup is the scan that raised the event which scan k belongs to; -1 = none.
func (h history) pickup(k int, threshold float64) int {
	found := -1
	for i := k; i >= 0 && h[i] >= threshold*DefaultDropoffRatio; i-- {
		if h[i] >= threshold {
			found = i
		}
	}
	return found
}

// state judges the present by whether the condition has been met at any scan since the pickup.
func (h history) state(threshold float64, met func(from, k int) bool) State {
	from := h.pickup(len(h)-1, threshold)
	if from < 0 {
		return Cleared
	}
	for k := from; k < len(h); k++ {
		if met(from, k) {
			return Operated
		}
	}
	return Raised
}

func (h history) consecutive(threshold float64, scans int) func(from, k int) bool {
	return func(from, k int) bool {
		for i := k; i > k-scans; i-- {
			if i < from || h[i] < threshold {
				return false
			}
		}
		return true
	}
}

func (h history) delayed(scans int) func(from, k int) bool {
	return func(from, k int) bool { return k-from >= scans }
}

// integrated is IEC 60255-151's standard inverse curve with a reset at once.
func (h history) integrated(threshold, multiplier float64) func(from, k int) bool {
	return func(from, k int) bool {
		sum := 0.0
		for i := from + 1; i <= k; i++ {
			if h[i] > threshold {
				sum += 0.001 / (multiplier * 0.14 / (math.Pow(h[i]/threshold, 0.02) - 1))
			}
		}
		return sum >= 1
	}
}

func TestElementsAgreeWithTheirHistory(t *testing.T) {
	reached := make(map[State]int)
	rapid.Check(t, func(t *rapid.T) {
		settings := []Setting{instantaneous(Positive, 100, 3), definite(Positive, 110, 0.004), inverseTime("iec-standard-inverse", 120, 0.0007)}
		for i, name := range []string{"instantaneous", "definite", "inverse"} {
			settings[i].Name = name
		}
		g := newGuard(settings)
		var h history
		for k := range 40 {
			h = append(h, rapid.Float64Range(85, 250).Draw(t, "amperes"))
			r := &scan.Readings{Clock: scan.Clock{Sequence: uint64(k), Monotonic: int64(k) * millisecond, Period: millisecond}, Amperes: h[k:]}
			settle(r)
			g.Apply(r, func(Change) {})
			want := [...]State{h.state(100, h.consecutive(100, 3)), h.state(110, h.delayed(4)), h.state(120, h.integrated(120, 0.0007))}
			for i, e := range g.elements {
				reached[e.state]++
				if e.state != want[i] {
					t.Fatalf("%s is %v after %v, want %v", e.name, e.state, h, want[i])
				}
			}
		}
	})
	if len(reached) != 3 {
		t.Errorf("states reached: %v, want all three", reached)
	}
}
