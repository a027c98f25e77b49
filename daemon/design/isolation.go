package design

import "fmt"

// TouchVolts is the usual limit, d.c., of what may be touched without isolation (IEC 60335-1, IEC 60204-1: safety extra-low voltage).
const TouchVolts = 60

// Isolation is whether something must be put between the pack and the electronics.
type Isolation struct {
	WorkingVolts *float64 `json:"working_volts"` // nil = not stated
	Isolated     bool     `json:"isolated"`      // by its principle; the data sheet must state for how many volts
	Needed       *bool    `json:"needed"`        // a barrier must be added; nil = not known without the working voltage
	Text         string   `json:"text"`
}

func (c *Candidate) isolation(q Question) Isolation {
	volts := c.Conductor.WorkingVolts
	if q.WorkingVolts > 0 {
		volts = q.WorkingVolts
	}
	i := Isolation{Isolated: c.Channel.Magnetic != nil}
	if volts > 0 {
		needed := !i.Isolated && volts > TouchVolts
		i.WorkingVolts, i.Needed = &volts, &needed
	}
	switch {
	case c.Channel.Reported != nil:
		i.Needed, i.Text = nil, "a meter of its own: whether it isolates is in its data sheet"
	case i.Isolated && volts > 0:
		i.Text = fmt.Sprintf("isolated by its principle; the data sheet must state a working voltage of %.4g V or more", volts)
	case i.Isolated:
		i.Text = "isolated by its principle; state working_volts to compare it with the data sheet's"
	case volts == 0:
		i.Text = fmt.Sprintf("not isolated: the electronics are at the potential of the pack. Whether that may be touched depends on working_volts, "+
			"which is not stated; above %d V d.c. a barrier must be added", TouchVolts)
	case volts > TouchVolts:
		i.Text = fmt.Sprintf("not isolated: the electronics and all that is connected to them are at %.4g V, above %d V d.c. dangerous to touch. "+
			"A barrier for that working voltage must be added behind the shunt, and both sense leads fused; work on it is for qualified people", volts, TouchVolts)
	default:
		i.Text = fmt.Sprintf("not isolated, and at %.4g V not above %d V d.c.; where the pack shares a point with the mains side of a converter "+
			"a barrier is needed all the same", volts, TouchVolts)
	}
	return i
}
