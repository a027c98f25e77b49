package recording

import (
	"slices"

	"github.com/ampledger/ampledger/daemon/scan"
)

// block is scans of one device as columns: what becomes a row group. Its memory is used again.
type block struct {
	sequence, monotonic, wall, epoch, uncertainty []int64
	flags                                         []int32
	inputs                                        []column
}

// column is one input's values.
type column struct {
	values []float64
	absent []bool // as many; nil = every value is there
}

func newBlock(inputs int) *block { return &block{inputs: make([]column, inputs)} }

func (b *block) count() int { return len(b.sequence) }

func (b *block) reset() {
	b.sequence, b.monotonic, b.wall, b.epoch, b.flags = b.sequence[:0], b.monotonic[:0], b.wall[:0], b.epoch[:0], b.flags[:0]
	b.uncertainty = b.uncertainty[:0]
	for i := range b.inputs {
		b.inputs[i].values, b.inputs[i].absent = b.inputs[i].values[:0], b.inputs[i].absent[:0]
	}
}

// add appends the scans i … j-1 of a frame.
func (b *block) add(f *scan.Frame, i, j int) {
	first := int64(f.Sequence)
	sequence, monotonic, wall, epoch := extend(&b.sequence, j-i), extend(&b.monotonic, j-i), extend(&b.wall, j-i), extend(&b.epoch, j-i)
	for k := range sequence {
		at := f.At(i + k)
		sequence[k], monotonic[k], wall[k], epoch[k] = first+int64(i+k), at, f.Wall+(at-f.Monotonic), int64(f.Epoch)
	}
	uncertainty := extend(&b.uncertainty, j-i)
	for k := range uncertainty {
		uncertainty[k] = f.Uncertainty
	}
	flags := extend(&b.flags, j-i)
	clear(flags)
	if f.Flags != nil {
		for k := range flags {
			flags[k] = int32(f.Flags[i+k])
		}
	}
	for n := range b.inputs {
		b.inputs[n].add(&f.Columns[n], i, j)
	}
}

// extend makes a slice longer and gives what is new of it, with whatever stood there.
func extend[T any](s *[]T, by int) []T {
	n := len(*s)
	*s = slices.Grow(*s, by)[:n+by]
	return (*s)[n:]
}

func (c *column) add(from *scan.Column, i, j int) {
	before := len(c.values)
	if len(from.Values) == 1 {
		for k, to := 0, extend(&c.values, j-i); k < len(to); k++ {
			to[k] = from.Values[0]
		}
	} else {
		c.values = append(c.values, from.Values[i:j]...)
	}
	if from.Flags == nil && len(c.absent) == 0 {
		return
	}
	for len(c.absent) < before {
		c.absent = append(c.absent, false)
	}
	for k := i; k < j; k++ {
		c.absent = append(c.absent, from.FlagAt(k) != 0) // whatever is wrong with it: played again, it is not to be used either
	}
}
