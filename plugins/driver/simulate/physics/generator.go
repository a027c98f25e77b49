package physics

// Rig is what there is to be simulated. It must not change while it is used.
type Rig struct {
	PeriodNanos int64 // between scans, above zero; the first is at 0
	Scans       int64 // after which a run ends; their time must stay within 2⁶² ns
	Duty        Duty
	Ambient     Ambient
	Shunt       *Shunt    // nil = none
	Magnetic    *Magnetic // nil = none
	Faults      []Fault
}

// Generator is one run of a rig.
type Generator struct {
	rig      *Rig
	made     int64 // scans
	place    Place
	shunt    *shuntRun
	magnetic *magneticRun
	troubles troubles
	last     Scan // given, if there are faults
	given    bool
}

// instant is the world at one time.
type instant struct {
	nanos   int64
	amperes float64 // positive = discharge
	celsius float64
}

// New gives a run of a rig from its first scan on.
func New(rig *Rig, seed uint64) *Generator {
	step := float64(rig.PeriodNanos) / 1e9
	return &Generator{
		rig: rig, troubles: newTroubles(rig.Faults, seed),
		shunt: newShuntRun(rig.Shunt, step, seed), magnetic: newMagneticRun(rig.Magnetic, step, seed),
	}
}

// Next gives the next scan that is not lost, or false after the last.
func (g *Generator) Next(to *Scan) bool {
	for {
		if given, more := g.Step(to); given || !more {
			return given
		}
	}
}

// Step makes one scan and says whether the device gives it or it is lost, and whether there was one to make.
func (g *Generator) Step(to *Scan) (given, more bool) {
	if g.made == g.rig.Scans {
		return false, false
	}
	g.next(to)
	g.made++
	given = !g.troubles.lost
	if given && len(g.rig.Faults) > 0 {
		g.last, g.given = *to, true
	}
	return given, true
}

func (g *Generator) next(to *Scan) {
	now := instant{nanos: g.made * g.rig.PeriodNanos}
	g.troubles.reach(now.nanos)
	now.amperes, to.ContactorOpen = g.rig.Duty.At(now.nanos, &g.place)
	now.celsius = g.rig.Ambient.at(now.nanos)
	to.Sequence, to.MonotonicNanos, to.TrueAmperes, to.Absent = uint64(g.made), now.nanos, now.amperes, 0
	to.Shunt, to.Magnetic, to.SupplyVolts = Reading{}, Reading{}, 0
	if g.shunt != nil {
		to.Shunt = g.shunt.next(&now, g.troubles.shuntSpike, g.troubles.noShunt)
	}
	if g.magnetic != nil {
		to.Magnetic, to.SupplyVolts = g.magnetic.next(&now, g.troubles.magneticSpike, g.troubles.noMagnetic)
	}
	if g.troubles.any {
		g.fail(to)
	}
}

// fail does to a scan what goes wrong behind the converters.
func (g *Generator) fail(to *Scan) {
	if g.troubles.contactor {
		to.ContactorOpen = !to.ContactorOpen
	}
	if g.troubles.repeated && g.given {
		to.MonotonicNanos = g.last.MonotonicNanos
	}
	for _, kind := range [...]FaultKind{OpenSenseLead, Stuck, Dropout} {
		for i := range g.troubles.all {
			if t := &g.troubles.all[i]; t.active && t.Kind == kind {
				g.failInput(to, t)
			}
		}
	}
}

func (g *Generator) failInput(to *Scan, t *trouble) {
	switch t.Kind {
	case OpenSenseLead:
		to.set(t.Input, g.rail(t))
	case Stuck:
		if t.fresh {
			t.held = to.value(t.Input)
			if g.given {
				t.held = g.last.value(t.Input)
			}
		}
		to.set(t.Input, t.held)
	case Dropout:
		to.Absent |= 1 << t.Input
	}
	t.fresh = false
}

// rail gives the code of an open sense lead.
func (g *Generator) rail(t *trouble) float64 {
	c := &g.rig.Shunt.Converter
	if t.Input == MagneticCode {
		c = &g.rig.Magnetic.Converter
	}
	if t.LowerRail {
		return min(c.LeastCode+t.away(), c.MostCode)
	}
	return max(c.MostCode-t.away(), c.LeastCode)
}
