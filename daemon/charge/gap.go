package charge

import (
	"cmp"
	"container/heap"
	"slices"
)

// gapLimit is how many gaps an account lists.
const gapLimit = 1000

// Gap is one interval between two usable readings in which the current is not known.
type Gap struct {
	BeforeSequence uint64 // last usable reading before it
	AfterSequence  uint64 // first usable reading after it
	FromWall       int64  // wall-clock time of the reading before it, ns since 1970-01-01 UTC
	FromMonotonic  int64  // device time of the reading before it, ns
	DurationNanos  int64

	AssumedNetMicrocoulombs int64 // net charge of the straight line between its ends, contained in the totals
	BoundMicrocoulombs      int64 // how far that can be off
	Causes                  Cause
}

// longest keeps the longest gaps as a heap whose root is the next to go: the shortest, and the latest of several as short.
type longest []Gap

// Len, Less, Swap, Push and Pop make it a heap.Interface.
func (l longest) Len() int { return len(l) }

// Less orders by who has to go first.
func (l longest) Less(i, j int) bool { return l[i].goesBefore(&l[j]) }

// Swap exchanges two gaps.
func (l longest) Swap(i, j int) { l[i], l[j] = l[j], l[i] }

// Push is never called: keep appends itself, since an argument of type any would allocate.
func (l longest) Push(any) { panic("charge: longest gaps are not pushed") }

// Pop is never called.
func (l longest) Pop() any { panic("charge: longest gaps are not popped") }

// goesBefore tells that g has to leave a full list before other. What it says of any two gaps does not depend on when they came.
func (g *Gap) goesBefore(other *Gap) bool {
	if g.DurationNanos != other.DurationNanos {
		return g.DurationNanos < other.DurationNanos
	}
	return g.BeforeSequence > other.BeforeSequence
}

// keep takes a gap into the list, in place of a shorter one if the list is full.
func (l *longest) keep(g Gap) {
	switch {
	case len(*l) < gapLimit:
		*l = append(*l, g)
		heap.Fix(l, len(*l)-1)
	case (*l)[0].goesBefore(&g):
		(*l)[0] = g
		heap.Fix(l, 0)
	}
}

// inOrder gives a copy in the order of time.
func (l longest) inOrder() []Gap {
	gaps := slices.Clone([]Gap(l))
	slices.SortFunc(gaps, func(a, b Gap) int { return cmp.Compare(a.BeforeSequence, b.BeforeSequence) })
	return gaps
}
