package coulombsoc

import (
	"math"
	"math/rand/v2"
	"time"
)

// world is a pack of about 100 Ah with a meter, both drawn anew by each seed within what is stated of them. Standard deviations, but for
// what is called a bound.
type world struct {
	zero       float64 // A
	changes    string  // how the zero does: never, at marks, walks
	gain       float64 // ratio
	noise      float64 // C, of a step
	gapRatio   float64 // of the steps are gaps
	bound      float64 // C, of what flows in a gap or while the daemon is away
	capacity   float64 // ratio
	efficiency float64 // half width of a rectangular distribution below 1
	every      float64 // steps from mark to mark, on the average
	mark       float64 // ratio of the capacity
	marks      string
	runs       int     // steps of a run of the daemon; 0 = one run
	rest       float64 // A, by which a rest every twelfth step shows the zero; 0 = nobody looks
	initial    float64 // ratio; 0 = not given
}

const (
	rated   = 360000.0 // C
	seconds = 1800.0   // of a step
)

// simulation is what is true, and the ledger that is made of it.
type simulation struct {
	world
	random *rand.Rand
	*pack
	settings with

	full, rate, share    float64 // true capacity, efficiency and state of charge
	zeroNow, error       float64 // true zero, and gain's error
	amperes              float64 // true
	applied, offset      float64 // C subtracted so far; A in force
	sure, held, zeroSums float64 // A of the zero; s; what the runs before stated, C
	step                 int
}

func simulate(t tb, seed uint64, w world) *simulation {
	s := &simulation{world: w, random: rand.New(rand.NewPCG(seed, 11))}
	normal := s.random.NormFloat64
	s.full, s.rate = rated*(1+w.capacity*normal()), 1-w.efficiency*s.random.Float64()
	s.zeroNow, s.error, s.share, s.sure = w.zero*normal(), w.gain*normal(), 0.3+0.4*s.random.Float64(), w.zero
	s.settings = with{
		"capacity_coulombs": rated, "capacity_uncertainty_ratio": w.capacity, "capacity_walk_ratio_per_root_year": 0.0,
		"coulombic_efficiency": 1 - w.efficiency/2, "coulombic_efficiency_uncertainty": w.efficiency / math.Sqrt(12),
		"coulombic_efficiency_walk_per_root_year": 0.0, "marks": w.marks,
	}
	if w.initial > 0 {
		s.settings["initial_state_of_charge"] = max(0, min(1, s.share+w.initial*normal()))
		s.settings["initial_state_of_charge_uncertainty"] = w.initial
	}
	s.pack = started(t, s.settings)
	s.next()
	return s
}

// run lets steps go by.
func (s *simulation) run(steps int) {
	for range steps {
		s.advance()
		if s.random.Float64() < 1/s.every {
			s.markNow()
		} else {
			s.observe(s.summary())
		}
	}
}

func (s *simulation) advance() {
	s.step++
	s.nanos += int64(seconds*1e9) - stepNanos
	resting := s.rest > 0 && s.step%12 == 0
	s.drive(resting)
	switch {
	case s.runs > 0 && s.step%s.runs == 0:
		s.restart()
	case s.random.Float64() < s.gapRatio:
		s.flow(s.bound * (2*s.random.Float64() - 1))
		s.charge.GapBoundCoulombs += s.bound
		s.read(s.noise)
	default:
		s.read(s.noise)
	}
	if resting {
		s.learn()
	}
	s.charge.GainRatio = s.gain
	c := s.charge
	c.NetUncertaintyCoulombs = s.sure*s.held + s.gain*math.Abs(c.OutCoulombs-c.InCoulombs+c.AdjustmentCoulombs)
	if s.rest == 0 {
		c.NetUncertaintyCoulombs += s.zeroSums + c.ZeroCoulombs - s.sure*s.held
	}
}

// drive chooses the current: the same for some hours, less where the pack is nearly full or empty.
func (s *simulation) drive(resting bool) {
	if s.step%6 == 1 {
		s.amperes = 40 * (2*s.random.Float64() - 1)
	}
	if s.share < 0.15 && s.amperes > 0 || s.share > 0.9 && s.amperes < 0 {
		s.amperes = -s.amperes
	}
	if resting {
		s.amperes = 0
	}
	if s.changes == "walks" { // it forgets half of it in 12 hours
		keep := math.Exp2(-seconds / 43200)
		s.zeroNow = keep*s.zeroNow + math.Sqrt(1-keep*keep)*s.zero*s.random.NormFloat64()
	}
}

// flow lets charge out of the pack, or in.
func (s *simulation) flow(coulombs float64) {
	if coulombs < 0 {
		coulombs *= s.rate
	}
	s.share -= coulombs / s.full
}

// read counts a step as the meter shows it.
func (s *simulation) read(noise float64) {
	s.flow(s.amperes * seconds)
	read := (s.amperes*(1+s.error) + s.zeroNow - s.offset) * seconds
	read += noise * s.random.NormFloat64()
	s.charge.OutCoulombs += max(0, read)
	s.charge.InCoulombs += max(0, -read)
	s.charge.NoiseSquareCoulombs += noise * noise
	s.charge.ZeroCoulombs += s.sure * seconds
	s.applied += s.offset * seconds
	s.held += seconds
}

// learn is a rest: the zero, that the ledger takes to be the same all along, becomes better known, and an adjustment says so.
func (s *simulation) learn() {
	weight := posterior(s.sure, s.rest)
	s.offset += weight * (s.zeroNow + s.rest*s.random.NormFloat64() - s.offset)
	s.sure *= math.Sqrt(1 - weight)
	s.charge.AdjustmentCoulombs = s.applied - s.offset*s.held
}

// restart ends a run and begins another, a step later.
func (s *simulation) restart() {
	s.pack = s.again(s.settings)
	s.Age(time.Duration(seconds * 1e9))
	s.flow(s.bound * (2*s.random.Float64() - 1))
	c := s.charge
	s.zeroSums += c.ZeroCoulombs
	c.ZeroCoulombs, c.NoiseSquareCoulombs, c.GapBoundCoulombs = 0, 0, s.bound
	s.nanos = 0
}

func (s *simulation) markNow() {
	u := s.mark * rated
	states := s.share * s.full
	if s.marks == asShare {
		states = s.share * rated
	}
	s.observe(s.summary(stores(states+u*s.random.NormFloat64(), u)))
	if s.changes == "at marks" {
		s.zeroNow = s.zero * s.random.NormFloat64()
	}
}
