package offset_test

import (
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"github.com/ampledger/ampledger/daemon/offset"
	"github.com/ampledger/ampledger/daemon/scan"
)

func TestWithoutAnEstimateReadingsAreLeftAlone(t *testing.T) {
	r, want := readings(3, 1, nan, 7), readings(3, 1, nan, 7)
	offset.New(10, 100*second).Apply(r)
	want.Stale = true
	if diff := cmp.Diff(want, r, cmpopts.EquateNaNs()); diff != "" {
		t.Error(diff)
	}
}

// u² = u₀² + w²·age, with a rounding part of 3 A beside it: u₀ 4 A alone make 5 A; 0.3 A/√s over 100 s are 3 A.
func TestUncertaintyAgesAsAWalk(t *testing.T) {
	for _, c := range []struct {
		name         string
		seconds, age int64
		zero         float64
	}{
		{"at once", 20, 0, 5},
		{"after 100 s", 120, 100 * second, math.Sqrt(34)},
		{"after 10 000 s", 10020, 10000 * second, math.Sqrt(16 + 900 + 9)},
		{"made later than the reading", 10, 0, 5},
	} {
		r := readings(uint64(c.seconds), 1, 7)
		taken(t, estimate(20)).Apply(r)
		near(t, c.name, r.ZeroAmperes, c.zero, 1e-14*c.zero)
		if r.Age != c.age || r.Offset != 2 || r.Generation != 1 || r.Estimator != "est" || r.NoiseAmperes != 0.5 || r.GainRatio != 0.01 {
			t.Errorf("%s: %+v", c.name, r)
		}
	}
}

// Figures whose squares no float64 holds age all the same.
func TestUncertaintyOfAnySize(t *testing.T) {
	e := estimate(0)
	e.Uncertainty, e.WalkPerRootSecond = 4e200, 0.3e200
	r := readings(100, 1)
	taken(t, e).Apply(r)
	near(t, "zero", r.ZeroAmperes, 5e200, 1e186)
}

func TestStaleFromTheSummaryThatBeginsTooLate(t *testing.T) {
	s := taken(t, estimate(10))
	for _, c := range []struct {
		sequence uint64
		stale    bool
	}{{100, false}, {109, false}, {110, false}, {119, false}, {120, true}, {130, true}} {
		r := readings(c.sequence, 1)
		s.Apply(r)
		if r.Stale != c.stale || r.Age != (int64(c.sequence)-10)*second || r.Offset != 2 {
			t.Errorf("at %d: %+v", c.sequence, r.Estimate)
		}
	}
	s.Take(estimate(130))
	r := readings(140, 1)
	if s.Apply(r); r.Stale {
		t.Error("a newer estimate is stale")
	}
}

// What is taken within a summary waits for the next, also where the next has lost its first scans.
func TestEstimatesChangeAtSummariesOnly(t *testing.T) {
	s := offset.New(10, 100*second)
	applied := func(sequence uint64) float64 {
		r := readings(sequence, 0)
		s.Apply(r)
		return r.Offset
	}
	if got := applied(4); got != 0 {
		t.Errorf("%v A before there is an estimate", got)
	}
	s.Take(estimate(4))
	for sequence, want := range map[uint64]float64{5: 0, 9: 0} {
		if got := applied(sequence); got != want {
			t.Errorf("scan %d: %v A within the summary, want %v", sequence, got, want)
		}
	}
	if got := applied(13); got != 2 {
		t.Errorf("%v A in the next summary, want 2", got)
	}
	newer := estimate(13)
	newer.Amperes = -1
	s.Take(newer)
	if got := applied(19); got != 2 {
		t.Errorf("%v A at the end of that summary, want 2", got)
	}
	if got := applied(20); got != -1 {
		t.Errorf("%v A in the one after, want -1", got)
	}
}

// Another epoch shares no monotonic time with the one the estimate was made in: the wall clock must do.
func TestAgeAcrossEpochsIsThatOfTheLabels(t *testing.T) {
	for _, c := range []struct {
		name  string
		clock scan.Clock
		age   int64
	}{
		{"regular", scan.Clock{Epoch: 1, Sequence: 40, Wall: 1e18 + 30*second, Monotonic: 1, Period: 1}, 10 * second},
		{"irregular", scan.Clock{Epoch: 1, Sequence: 40, Wall: 1e18 + 30*second, Monotonic: 1, Offsets: []int64{2 * second}}, 12 * second},
		{"wall clock set back", scan.Clock{Epoch: 1, Sequence: 40, Wall: 5, Monotonic: 1, Period: 1}, 0},
		{"same epoch, irregular", scan.Clock{Sequence: 40, Monotonic: 30 * second, Offsets: []int64{3 * second}}, 13 * second},
	} {
		r := readings(0, 1)
		r.Clock = c.clock
		taken(t, estimate(20)).Apply(r)
		if r.Age != c.age {
			t.Errorf("%s: age %d ns, want %d", c.name, r.Age, c.age)
		}
		near(t, c.name, r.ZeroAmperes, math.Sqrt(25+0.09*float64(c.age/second)), 1e-13)
	}
}

func TestEstimatesThatMakeNoSenseAreRefused(t *testing.T) {
	s := taken(t, estimate(0))
	for _, change := range []func(*offset.Estimate){
		func(e *offset.Estimate) { e.Amperes = nan },
		func(e *offset.Estimate) { e.Amperes = inf },
		func(e *offset.Estimate) { e.Amperes = -inf },
		func(e *offset.Estimate) { e.Uncertainty = -1e-300 },
		func(e *offset.Estimate) { e.Uncertainty = nan },
		func(e *offset.Estimate) { e.Uncertainty = inf },
		func(e *offset.Estimate) { e.WalkPerRootSecond = -1 },
		func(e *offset.Estimate) { e.WalkPerRootSecond = nan },
		func(e *offset.Estimate) { e.WalkPerRootSecond = inf },
	} {
		e := estimate(1)
		change(&e)
		if s.Take(e) {
			t.Errorf("%+v was taken", e)
		}
	}
	if newest, given := s.Newest(); !given || newest.Made.Monotonic != 0 {
		t.Errorf("newest is %+v", newest)
	}
	if _, given := offset.New(1, 1).Newest(); given {
		t.Error("a new stage has an estimate")
	}
}

// An offset of exactly 0 is an estimate, too: its uncertainty takes the place of the sensor's.
func TestZeroOffsetIsAnEstimate(t *testing.T) {
	e := estimate(0)
	e.Amperes, e.Uncertainty, e.Generation = 0, 0, 0
	r := readings(0, 1, 2)
	taken(t, e).Apply(r)
	if r.ZeroAmperes != 3 || r.Age != 0 || r.Amperes[1] != 2 || r.Stale {
		t.Errorf("%+v", r)
	}
}

// The guard looks at the extremes first: they must be those of the readings to the last bit, and no reading may be passed over.
func TestExtremesShiftAsTheReadings(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		amperes := rapid.SliceOfN(rapid.OneOf(rapid.Float64Range(-1e4, 1e4), rapid.Float64Range(-1e-9, 1e-9), rapid.Just(nan)), 1, 10)
		r := readings(0, amperes.Draw(t, "amperes")...)
		before := cut(r, 0, r.Len())
		e := estimate(0)
		e.Amperes = rapid.Float64Range(-100, 100).Draw(t, "offset")
		s := offset.New(10, 1)
		s.Take(e)
		s.Apply(r)
		minimum, maximum := inf, -inf
		for k, y := range r.Amperes {
			if want := before.Amperes[k] - e.Amperes; y != want && want == want {
				t.Fatalf("reading %d is %v, want %v", k, y, want)
			}
			if y == y {
				minimum, maximum = min(minimum, y), max(maximum, y)
			}
		}
		if r.Minimum != minimum || r.Maximum != maximum || r.Usable != before.Usable {
			t.Fatalf("%v A to %v A, want %v A to %v A", r.Minimum, r.Maximum, minimum, maximum)
		}
	})
}

// A driver may cut its frames as it likes, regular or not, and estimates may come in between: offset, uncertainty and staleness are those of
// the summary, the age is that of the reading.
func TestFrameCutsChangeNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		whole, pieces := offset.New(10, 30*second), offset.New(10, 30*second)
		start := rapid.Uint64Range(0, 25).Draw(t, "start")
		for block := start / 10; block < start/10+4; block++ {
			from := max(block*10, start)
			r := readings(from, make([]float64, int(block*10+10-from))...)
			if rapid.Bool().Draw(t, "irregular") {
				r.Period, r.Offsets = 0, rapid.SliceOfN(rapid.Int64Range(0, 20*second), r.Len(), r.Len()).Draw(t, "offsets")
			}
			r.Epoch = uint64(rapid.IntRange(0, 1).Draw(t, "epoch"))
			inForce, given := whole.Newest()
			once := cut(r, 0, r.Len())
			whole.Apply(once)
			for i, j := 0, 0; i < r.Len(); i = j {
				j = rapid.IntRange(i+1, r.Len()).Draw(t, "cut")
				part := cut(r, i, j)
				pieces.Apply(part)
				want := once.Estimate
				if given {
					want.Age = age(inForce.Made, r, i)
				}
				if diff := cmp.Diff(want, part.Estimate); diff != "" || part.ZeroAmperes != once.ZeroAmperes || part.Amperes[0] != once.Amperes[i] {
					t.Fatalf("from %d: %s\n%+v\n%+v", i, diff, part, once)
				}
				if rapid.Bool().Draw(t, "take") {
					e := estimate(rapid.Int64Range(0, 60).Draw(t, "made"))
					whole.Take(e)
					pieces.Take(e)
				}
			}
		}
	})
}

func age(made scan.Clock, r *scan.Readings, k int) int64 {
	if made.Epoch == r.Epoch {
		return max(0, r.At(k)-made.Monotonic)
	}
	return max(0, r.WallAt(k)-made.Wall)
}

func TestNoAllocations(t *testing.T) {
	s := taken(t, estimate(0))
	r := readings(0, make([]float64, 10)...)
	f := &scan.Column{Values: []float64{20}}
	var tally offset.Tally
	allocs := testing.AllocsPerRun(100, func() {
		s.Apply(r)
		tally.Add(r, f)
		s.Take(estimate(0))
		r.Sequence += 10
	})
	if allocs != 0 {
		t.Errorf("%v allocations a span", allocs)
	}
}
