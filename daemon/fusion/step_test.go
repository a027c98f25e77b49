package fusion_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/ampledger/ampledger/daemon/fusion"
)

const (
	crossings = 4 // of the first channel's limit in each drive
	ramp      = 0.05
)

// drawnDrive draws two or three channels whose ranges end at 20 A, 30 A and never, and their errors: at most so many times what is stated.
func drawnDrive(random *rand.Rand, most float64) *drive {
	d := &drive{summaryScans: 30 + random.IntN(100)}
	limits := []float64{20, 30, inf}
	if random.IntN(2) == 0 {
		limits = []float64{20, inf}
	}
	for _, limit := range limits {
		p := fusion.Part{
			NoiseAmperes: 0.1 * random.Float64(), Readings: d.summaryScans, MeanAmperes: 15,
			ZeroAmperes: math.Pow(10, 2*random.Float64()-2), GainRatio: math.Pow(10, 2*random.Float64()-3),
		}
		d.parts = append(d.parts, p)
		error := func() float64 { return most * (2*random.Float64() - 1) }
		d.instruments = append(d.instruments, instrument{error() * p.ZeroAmperes, error() * p.GainRatio, limit})
	}
	return d
}

// eachChange calls check for each scan at which the channels used are others than at the scan before, and tells how many there were.
func eachChange(points []point, check func(from, to point)) (changes int) {
	for k := 1; k < len(points); k++ {
		if points[k].used != points[k-1].used {
			changes++
			check(points[k-1], points[k])
		}
	}
	return changes
}

// From the first change on, whatever the errors: the fused current moves by no more than ZeroAmperes beyond what the channels used before and
// after have seen move. Half the drives have errors within what is stated, half up to ten times as much, and a third have noise.
func TestAChangeOfChannelsMovesByNoMoreThanIsStated(t *testing.T) {
	for seed := range uint64(1500) {
		random := rand.New(rand.NewPCG(seed, 1))
		d := drawnDrive(random, []float64{1, 10}[seed%2])
		if seed%3 == 0 {
			d.noise = random
		}
		known := map[uint][]float64{}
		changes := eachChange(d.run(t, triangle(0, 40, 1, crossings/2)), func(from, to point) {
			both := from.used & to.used
			if known[both] == nil {
				known[both], _ = weights(t, d.parts, both)
			}
			seen := 0.0
			for i, w := range known[both] {
				if w != 0 {
					seen += w * (to.reads[i] - from.reads[i])
				}
			}
			if step := math.Abs(to.fused - from.fused - seen); step > to.zero+1e-12 {
				t.Errorf("seed %d: a step of %v A at %v A, stated %v A", seed, step, to.current, to.zero)
			}
		})
		if changes < crossings {
			t.Fatalf("seed %d: %d changes", seed, changes)
		}
	}
}

// Against the true current, which moves by at most 0.05 A a scan: errors within what is stated make no step beyond what is stated at the
// current, from the first crossing on. With larger ones the gain error of the channels that stay makes of the true movement what it
// always does.
func TestStepAgainstTheTrueCurrent(t *testing.T) {
	for seed := range uint64(1000) {
		within := seed%2 == 0
		d := drawnDrive(rand.New(rand.NewPCG(seed, 2)), map[bool]float64{true: 1, false: 10}[within])
		allowed := 0.0
		if !within {
			for _, i := range d.instruments {
				allowed = max(allowed, math.Abs(i.gain)*ramp)
			}
		}
		eachChange(d.run(t, triangle(18, 32, ramp, crossings/2)), func(from, to point) {
			step := math.Abs(to.fused - from.fused - (to.current - from.current))
			if step > to.total()+allowed+1e-12 {
				t.Errorf("seed %d: a step of %v A at %v A, stated %v A", seed, step, to.current, to.total())
			}
		})
	}
}

// New weights are a change as well: a summary in which the coarse channel is suddenly trusted more.
func TestNewWeightsMoveByNoMoreThanIsStated(t *testing.T) {
	s := weighed(parts...)
	before := one(t, s, 0, 10, 13)
	turned := []fusion.Part{parts[1], parts[0]}
	s.Weigh(turned)
	after := one(t, s, 1, 10, 13)
	if step := after.Amperes[0] - before.Amperes[0]; step < 2 || step > after.ZeroAmperes+1e-15 {
		t.Errorf("a step of %v A, stated %v A", step, after.ZeroAmperes)
	}
}

// It is by the channel that was alone that the step of a return is measured, so its gain is still stated then.
func TestTheSummaryOfAReturnStatesWhatWasBefore(t *testing.T) {
	s := weighed(parts...)
	alone := one(t, s, 0, nan, 10)
	for sequence, want := range []float64{alone.GainRatio, alone.GainRatio, 0.001} {
		if sequence != 1 {
			s.Weigh(parts)
		}
		if r := one(t, s, 1+uint64(sequence), 10, 10); math.Abs(r.GainRatio-want) > 1e-4 {
			t.Errorf("scan %d after it: %v, want %v", sequence, r.GainRatio, want)
		}
	}
}

// A step that more than the uncertainty is stated for stays stated to the end of the summary, and no longer.
func TestAStepIsStatedToTheEndOfTheSummary(t *testing.T) {
	s := weighed(parts...)
	one(t, s, 0, 10, 10)
	if r := one(t, s, 1, nan, 10); r.ZeroAmperes != 0.5 {
		t.Errorf("without a step %v A", r.ZeroAmperes)
	}
	step := one(t, s, 2, 19, 10)
	same := one(t, s, 3, 10, 10)
	near(t, "step", step.ZeroAmperes, step.Amperes[0]-10, 1e-14)
	if same.ZeroAmperes != step.ZeroAmperes || step.ZeroAmperes < 5 {
		t.Errorf("%v A, then %v A", step.ZeroAmperes, same.ZeroAmperes)
	}
	s.Weigh(parts)
	_, both := weights(t, parts, 3)
	if r := one(t, s, 4, 10, 10); r.ZeroAmperes != both.ZeroAmperes {
		t.Errorf("%v A in the next summary", r.ZeroAmperes)
	}
}
