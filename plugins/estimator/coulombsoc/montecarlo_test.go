package coulombsoc

import (
	"flag"
	"math"
	"testing"
)

var allSeeds = flag.Bool("full", false, "run the Monte Carlo over all seeds")

// tally counts how often the stated 95 % interval held the truth, and the mean of the normalised error squared, which is 1 where the stated
// uncertainty is exactly the real one.
type tally struct {
	inside, runs int
	nees         float64
}

func (c *tally) add(value, u, truth float64) {
	z := (value - truth) / u
	c.runs++
	c.nees += z * z
	if math.Abs(z) <= 1.96 {
		c.inside++
	}
}

// report wants 93 % of the intervals to hold the truth: with 400 runs they are 1.1 % more or less at random.
func (c *tally) report(t *testing.T, name string) {
	if c.runs == 0 {
		return
	}
	coverage := 100 * float64(c.inside) / float64(c.runs)
	t.Logf("%-20s %5.1f %% of %d inside, mean normalised error squared %.2f", name, coverage, c.runs, c.nees/float64(c.runs))
	if coverage < 93 {
		t.Errorf("%s: %.1f %% of the 95 %% intervals hold the truth", name, coverage)
	}
}

// TestMonteCarlo draws packs and meters and wants the truth inside the stated intervals. A run ends anywhere between two marks. What is stated
// may be too much only where it has to be, because the zero may do other than it does in that row: nees is the least that is asked for.
func TestMonteCarlo(t *testing.T) {
	seeds, length := uint64(400), 40
	if *allSeeds {
		seeds, length = 5000, 120
	}
	usual := world{
		zero: 0.1, changes: "never", gain: 0.003, noise: 100, efficiency: 0.01, capacity: 0.03, every: 20, mark: 0.01, marks: asCoulombs,
	}
	for _, c := range []struct {
		name   string
		change func(*world)
		nees   float64
	}{
		{"all that is usual", func(*world) {}, 0.85},
		{"zero alone", func(w *world) { w.gain, w.noise, w.efficiency, w.capacity = 0, 0, 0, 0 }, 0.85},
		{"gain alone", func(w *world) { w.zero, w.noise, w.efficiency, w.capacity, w.gain, w.mark = 0, 0, 0, 0, 0.02, 0.002 }, 0.85},
		{"noise alone", func(w *world) { w.zero, w.gain, w.efficiency, w.capacity, w.noise, w.mark = 0, 0, 0, 0, 1000, 0.005 }, 0.85},
		{"a wrong capacity alone", func(w *world) { w.zero, w.gain, w.noise, w.efficiency, w.capacity, w.mark = 0, 0, 0, 0, 0.1, 0.001 }, 0.8},
		{"gaps, taken to be all the same way", func(w *world) { w.gapRatio, w.bound, w.zero, w.mark = 0.1, 4000, 0.01, 0.002 }, 0.2},
		{"runs that end", func(w *world) { w.runs, w.bound = 29, 3000 }, 0.6},
		{"the beginning is given", func(w *world) { w.initial, w.every = 0.05, 1e9 }, 0.85},
		{"marks hardly better than the count", func(w *world) { w.mark, w.zero = 0.05, 0.2 }, 0.7},
		{"a zero that is another after each mark", func(w *world) { w.mark, w.zero, w.changes = 0.05, 0.2, "at marks" }, 0.4},
		{"a zero that walks", func(w *world) { w.changes = "walks" }, 0.4},
		{"shares", func(w *world) { w.marks, w.mark = asShare, 0.02 }, 0.8},
		{"shares, another zero after each", func(w *world) { w.marks, w.mark, w.changes = asShare, 0.02, "at marks" }, 0.5},
		{"shares, a zero that walks", func(w *world) { w.marks, w.mark, w.changes = asShare, 0.02, "walks" }, 0.4},
		{"shares, runs that end, gaps", func(w *world) { w.marks, w.mark, w.runs, w.bound, w.gapRatio = asShare, 0.02, 43, 3000, 0.02 }, 0.5},
		{"rests that teach the zero", func(w *world) { w.rest = 0.01 }, 0.5},
		{"rests, and shares", func(w *world) { w.rest, w.marks, w.mark = 0.02, asShare, 0.02 }, 0.5},
		{"rests long after the last mark", func(w *world) { w.rest, w.every, w.mark = 0.02, 40, 0.005 }, 0.3},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			w := usual
			c.change(&w)
			tallies := drawn(t, w, seeds, length)
			for _, name := range outputs {
				tallies[name].report(t, name)
			}
			shares := tallies[soc]
			if nees := shares.nees / float64(shares.runs); !(nees >= c.nees && nees <= 1.2) || shares.runs < int(seeds)*7/10 {
				t.Errorf("state of charge: mean normalised error squared %.2f of %d, want %g to 1.2", nees, shares.runs, c.nees)
			}
		})
	}
}

var outputs = []string{soc, left, full, eta}

// drawn runs a simulation of so many steps, or up to twice as many, with each seed and holds what is stated in the end against the truth.
func drawn(t *testing.T, w world, seeds uint64, length int) map[string]*tally {
	tallies := map[string]*tally{}
	for _, name := range outputs {
		tallies[name] = &tally{}
	}
	for seed := range seeds {
		s := simulate(t, seed, w)
		s.run(length + s.random.IntN(length))
		truth := []float64{s.share, s.share * s.full, s.full, s.rate}
		for i, name := range outputs {
			if value, u := s.output(name); u > 0 { // it is known, and not exactly
				tallies[name].add(value, u, truth[i])
			}
		}
	}
	return tallies
}
