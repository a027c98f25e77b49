package physics

import (
	"math"
	"math/rand/v2"
)

// trouble is a fault in one run.
type trouble struct {
	Fault
	from, to int64
	active   bool
	fresh    bool // no scan has been given since it became active
	held     float64
	codes    float64 // away from the rail
	chance   *rand.Rand
}

const never = math.MaxInt64

// later gives a time so much after another.
func later(than int64, by float64) int64 {
	if !(by < float64(never-than)) {
		return never
	}
	return than + int64(by)
}

func (t *trouble) pause() float64 { return t.chance.ExpFloat64() * 3600e9 / t.RatePerHour }

// begin sets the first time.
func (t *trouble) begin() {
	t.from = t.FromNanos
	if t.RatePerHour > 0 {
		t.from = later(t.from, t.pause())
	}
	t.to = later(t.from, float64(t.LengthNanos))
}

// reach brings the fault to a time and gives when it changes next.
func (t *trouble) reach(now int64) (change int64) {
	for now >= t.to && t.to != never {
		switch {
		case t.RatePerHour > 0:
			t.from = later(t.to, t.pause())
		case t.EveryNanos > 0:
			t.from = later(t.from, float64(t.EveryNanos))
		default:
			t.from = never
		}
		t.to = later(t.from, float64(t.LengthNanos))
		t.active = false
	}
	if now < t.from {
		return t.from
	}
	if !t.active {
		t.active, t.fresh, t.codes = true, true, 0
	}
	return t.to
}

// away walks an open sense lead about and gives how many codes it is off the rail.
func (t *trouble) away() float64 {
	if t.WanderCodes == 0 {
		return 0
	}
	next := math.Abs(t.codes + t.WanderCodes/8*t.chance.NormFloat64())
	if next > t.WanderCodes {
		next = max(0, 2*t.WanderCodes-next)
	}
	t.codes = next
	return math.Floor(next)
}

// troubles are all faults in one run, and what those that act now come to.
type troubles struct {
	all    []trouble
	change int64 // when one of them begins or ends
	acting
}

// acting is what goes wrong now.
type acting struct {
	any                       bool
	shuntSpike, magneticSpike float64
	noShunt, noMagnetic       bool // supply
	contactor, lost, repeated bool
}

func newTroubles(faults []Fault, seed uint64) troubles {
	t := troubles{change: never}
	for i, f := range faults {
		one := trouble{Fault: f, chance: stream(seed, faultStream+uint64(i))}
		one.begin()
		t.change = min(t.change, one.from)
		t.all = append(t.all, one)
	}
	return t
}

// reach brings all faults to a time, which never goes back.
func (t *troubles) reach(now int64) {
	if now < t.change {
		return
	}
	t.change, t.acting = never, acting{}
	for i := range t.all {
		one := &t.all[i]
		t.change = min(t.change, one.reach(now))
		if one.active {
			t.any = true
			t.count(one)
		}
	}
}

func (a *acting) count(t *trouble) {
	switch t.Kind {
	case MissingSupply:
		a.noShunt, a.noMagnetic = a.noShunt || t.Input == ShuntCode, a.noMagnetic || t.Input == MagneticCode
	case Spike:
		if t.Input == ShuntCode {
			a.shuntSpike += t.Amperes
		} else {
			a.magneticSpike += t.Amperes
		}
	case FalseContactor:
		a.contactor = !a.contactor
	case ScansLost:
		a.lost = true
	case TimeRepeated:
		a.repeated = true
	}
}
