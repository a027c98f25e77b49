package scan

// Frame is consecutive scans of one device, raw.
type Frame struct {
	Clock
	Count   int       // scans
	Flags   []Quality // faults of a whole scan, such as its time; nil = none
	Columns []Column  // one an input, in the device's order
}

// Column is one input's values over a frame.
type Column struct {
	Values []float64 // Count of them, or one that holds for the whole frame; codes as whole numbers
	Flags  []Quality // faults of single values, as many as Values; nil = none
}

// At gives the value of scan k.
func (c *Column) At(k int) float64 {
	if len(c.Values) == 1 {
		return c.Values[0]
	}
	return c.Values[k]
}

// FlagAt gives the faults of the value of scan k.
func (c *Column) FlagAt(k int) Quality {
	switch {
	case c.Flags == nil:
		return 0
	case len(c.Flags) == 1:
		return c.Flags[0]
	}
	return c.Flags[k]
}

// Cut writes the scans i … j-1 of f into to, which shares f's memory.
func (f *Frame) Cut(i, j int, to *Frame) {
	to.Clock = f.From(i, j)
	to.Count = j - i
	to.Flags = nil
	if f.Flags != nil {
		to.Flags = f.Flags[i:j]
	}
	to.Columns = to.Columns[:0]
	for _, column := range f.Columns {
		if len(column.Values) > 1 {
			column.Values = column.Values[i:j]
		}
		if len(column.Flags) > 1 {
			column.Flags = column.Flags[i:j]
		}
		to.Columns = append(to.Columns, column)
	}
}
