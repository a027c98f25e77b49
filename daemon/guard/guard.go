package guard

import (
	"errors"
	"math"

	"github.com/ampledger/ampledger/daemon/scan"
)

const (
	// untimed readings have no time of their own: they take no part at all.
	untimed = scan.TimeRepeated | scan.TimeBackwards
	// valueless readings have a time, but no current that could be compared.
	valueless = scan.Missing | scan.NotFinite
	// approximate readings lack the supply or temperature they should be corrected by: off by a few per cent, they still show a short circuit.
	approximate = scan.AuxiliaryMissing
	// atRail marks a current that is at least what the reading says.
	atRail = scan.Saturated | scan.OutOfRange
)

// Guard is a channel's elements with their state.
type Guard struct {
	elements []element
	events   uint64 // opened so far
	busy     int    // elements that are not Cleared
	time     timebase
	amperes  float64 // of the newest reading that counts

	// A reset element does nothing while each current lies between low and high, none is at the rail and no gap exceeds watch.
	low, high float64
	watch     int64 // ns

	estimate  scan.Estimate // of the newest frame
	estimated int64         // monotonic time its age holds at
}

// New makes a guard of reset elements, or reports every *Fault of the settings, joined.
func New(settings []Setting) (*Guard, error) {
	if err := check(settings); err != nil {
		return nil, err
	}
	g := &Guard{low: math.Inf(-1), high: math.Inf(1), watch: math.MaxInt64}
	for i, s := range settings {
		g.elements = append(g.elements, newElement(i, s))
		g.narrow(&g.elements[i])
	}
	return g, nil
}

func check(settings []Setting) error {
	var list []error
	names := make(map[string]bool)
	for _, s := range settings {
		list = append(list, s.Validate())
		if names[s.Name] {
			list = append(list, &Fault{Element: s.Name, Key: "name", Problem: "is taken: give each element its own"})
		}
		names[s.Name] = true
	}
	return errors.Join(list...)
}

// narrow takes a reset element's thresholds into the band where nothing happens.
func (g *Guard) narrow(e *element) {
	if e.kind == KindStaleness {
		g.watch = min(g.watch, e.delay)
	}
	if !e.kind.overcurrent() {
		return
	}
	if e.side != Negative {
		g.high = min(g.high, e.pickup)
	}
	if e.side != Positive {
		g.low = max(g.low, -e.pickup)
	}
}

// Apply takes the next readings and tells each change. It keeps nothing of r.
func (g *Guard) Apply(r *scan.Readings, tell func(Change)) {
	if r.Len() == 0 {
		return
	}
	if g.quiet(r) {
		g.skim(r)
	} else {
		g.walk(r, tell)
	}
}

// quiet tells from a frame's extremes that walking it would change nothing but the time.
func (g *Guard) quiet(r *scan.Readings) bool {
	return g.busy == 0 && r.Causes == 0 && g.low < r.Minimum && r.Maximum < g.high &&
		(g.watch == math.MaxInt64 || g.time.longestGap(r) <= g.watch)
}

// skim leaves the state as a walk over a quiet frame would: all that such a walk remembers is the last readings'
// times, two intervals of them.
func (g *Guard) skim(r *scan.Readings) {
	g.note(r)
	for k := max(0, r.Len()-3); k < r.Len(); k++ {
		g.time.pass(r, k)
		g.time.count()
		g.amperes = r.Amperes[k]
	}
}

// walk takes reading by reading.
func (g *Guard) walk(r *scan.Readings, tell func(Change)) {
	g.note(r)
	s := sample{guard: g, readings: r, tell: tell}
	for k, amperes := range r.Amperes {
		quality := r.QualityAt(k)
		if quality&untimed != 0 {
			continue
		}
		g.time.pass(r, k)
		if quality&valueless != 0 || !(math.Abs(amperes) <= math.MaxFloat64) {
			g.expire(&s, g.time.span)
			continue
		}
		g.take(&s, amperes, quality&atRail != 0)
	}
}

// take gives one reading that counts to the elements.
func (g *Guard) take(s *sample, amperes float64, railed bool) {
	orderly := !railed && g.time.span <= g.watch
	if g.busy != 0 || !orderly || !(g.low < amperes && amperes < g.high) {
		s.fill(amperes, railed)
		for i := range g.elements {
			if e := &g.elements[i]; !(orderly && e.inert(s)) {
				e.step(s)
			}
		}
	}
	g.amperes = amperes
	g.time.count()
}

// Silent says that nothing has come from the device for so many ns, counted by the host's clock since the newest readings or, if there are
// none, since the guard began; wall is the present. Only staleness elements look at it; the next reading that counts clears them.
func (g *Guard) Silent(wall, silence int64, tell func(Change)) {
	if !g.time.begun {
		g.time.now = Stamp{Wall: wall - silence}
		g.time.counted = g.time.now
	}
	newest := g.time.now
	g.time.now = g.time.silent(wall, silence)
	g.expire(&sample{guard: g, tell: tell}, g.time.span+silence)
	g.time.now = newest
}

// expire lets the staleness elements see a silence that goes on.
func (g *Guard) expire(s *sample, span int64) {
	if span <= g.watch {
		return
	}
	for i := range g.elements {
		g.elements[i].expire(s, span)
	}
}

// note keeps the estimate in force.
func (g *Guard) note(r *scan.Readings) { g.estimate, g.estimated = r.Estimate, r.At(0) }

// estimateAt is the estimate in force with its age at that scan.
func (g *Guard) estimateAt(at Stamp) scan.Estimate {
	estimate := g.estimate
	if estimate.Age >= 0 {
		estimate.Age = max(estimate.Age+at.Monotonic-g.estimated, 0)
	}
	return estimate
}
