package scan

// Clock is the time base of a batch of n scans.
type Clock struct {
	Epoch     uint64  // counts the device's monotonic time bases: times compare within one epoch only
	Sequence  uint64  // of the first scan; the others follow without a hole
	Wall      int64   // wall-clock time of the first scan, ns since 1970-01-01 UTC; a label
	Monotonic int64   // device time of the first scan, ns
	Period    int64   // ns from scan to scan; 0 = irregular
	Offsets   []int64 // ns of each scan after Monotonic if Period is 0

	Uncertainty int64 // standard uncertainty of each scan's Monotonic time, ns, independent from scan to scan; 0 = none that matters
}

// At gives the monotonic time of scan k in ns.
func (c *Clock) At(k int) int64 {
	if c.Period != 0 {
		return c.Monotonic + int64(k)*c.Period
	}
	return c.Monotonic + c.Offsets[k]
}

// WallAt labels scan k with a wall-clock time in ns.
func (c *Clock) WallAt(k int) int64 { return c.Wall + c.At(k) - c.Monotonic }

// From gives the time base of the scans k, k+1, … n-1.
func (c *Clock) From(k, n int) Clock {
	cut := *c
	cut.Sequence += uint64(k)
	if c.Period != 0 {
		cut.Wall, cut.Monotonic = c.WallAt(k), c.At(k)
		return cut
	}
	// Offsets stay relative to the whole frame's first scan, so a cut needs no copy.
	cut.Offsets = c.Offsets[k:n]
	return cut
}
