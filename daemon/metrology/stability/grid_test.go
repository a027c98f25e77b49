package stability_test

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"github.com/ampledger/ampledger/daemon/metrology/stability"
)

const second = int64(1e9)

func logOf(nanos []int64, amperes ...float64) *stability.Log {
	return &stability.Log{Nanos: nanos, Amperes: amperes}
}

func TestArrange(t *testing.T) {
	s := second
	for _, c := range []struct {
		name     string
		log      *stability.Log
		interval float64
		want     [][]float64
		check    func(g *stability.Grid) bool
	}{
		{"even", logOf([]int64{5 * s, 6 * s, 7 * s}, 1, 2, 3), 0, [][]float64{{1, 2, 3}},
			func(g *stability.Grid) bool {
				return !g.Averaged && g.IntervalSeconds == 1 && g.LargestJitter == 0 && g.CoveredSeconds == 2
			}},
		{"jitter of 4 % stands", logOf([]int64{0, s, 2*s + s/25, 3 * s}, 1, 2, 3, 4), 0, [][]float64{{1, 2, 3, 4}},
			func(g *stability.Grid) bool { return !g.Averaged && g.IntervalSeconds == 1 }},
		{"jitter of 10 % is averaged", logOf([]int64{0, s, 2*s + s/10, 3 * s, 4 * s}, 1, 2, 3, 4, 5), 0, [][]float64{{1, 2, 3, 4, 5}},
			func(g *stability.Grid) bool { return g.Averaged && g.Bridged == 0 }},
		{"a dense part", logOf([]int64{0, s / 10, s / 5, s, 2 * s, 3 * s, 4 * s, 5 * s}, 1, 2, 3, 4, 5, 6, 7, 8), 0, [][]float64{{2, 4, 5, 6, 7, 8}},
			func(g *stability.Grid) bool { return g.Averaged && g.Readings == 8 }},
		{"a lost reading is bridged", logOf([]int64{0, s, 3 * s, 4 * s}, 1, 2, 4, 6), 0, [][]float64{{1, 2, 3, 4, 6}},
			func(g *stability.Grid) bool { return g.Averaged && g.Bridged == 1 && g.Gaps == 0 }},
		{"a gap splits", logOf([]int64{0, s, 2 * s, 10 * s, 11 * s}, 1, 2, 3, 4, 5), 0, [][]float64{{1, 2, 3}, {4, 5}},
			func(g *stability.Grid) bool {
				return !g.Averaged && g.Gaps == 1 && g.GapSeconds == 8 && g.CoveredSeconds == 3
			}},
		{"alone between gaps", logOf([]int64{0, s, 2 * s, 10 * s, 20 * s, 21 * s}, 1, 2, 3, 4, 5, 6), 0, [][]float64{{1, 2, 3}, {5, 6}},
			func(g *stability.Grid) bool { return g.Gaps == 2 && g.LeftOut == 1 }},
		{"a longer interval", logOf([]int64{0, s, 2 * s, 3 * s, 4 * s, 5 * s}, 1, 2, 3, 4, 5, 6), 2, [][]float64{{1, 2.5, 4.5, 6}},
			func(g *stability.Grid) bool { return g.Averaged && g.IntervalSeconds == 2 }},
	} {
		t.Run(c.name, func(t *testing.T) {
			if err := c.log.Check(); err != nil {
				t.Fatal(err)
			}
			g, err := stability.Arrange(c.log, c.interval)
			if err != nil {
				t.Fatal(err)
			}
			if !slices.EqualFunc(g.Segments, c.want, func(s stability.Segment, w []float64) bool { return slices.Equal(s.Amperes, w) }) || !c.check(g) {
				t.Errorf("%+v, want segments %v", g, c.want)
			}
		})
	}
}

func TestArrangeRefuses(t *testing.T) {
	apart := logOf([]int64{0, second, 2 * second}, 1, 2, 3)
	for name, interval := range map[string]float64{"too short an interval": 0.1, "below a nanosecond": 1e-10, "negative": -1, "without end": math.Inf(1), "none": math.NaN()} {
		if g, err := stability.Arrange(apart, interval); err == nil {
			t.Errorf("%s: %+v", name, g)
		}
	}
}

func TestCheck(t *testing.T) {
	nan := math.NaN()
	for name, l := range map[string]*stability.Log{
		"one reading":    logOf([]int64{0}, 1),
		"columns differ": logOf([]int64{0, 1}, 1),
		"time stands":    logOf([]int64{0, 0}, 1, 2),
		"not finite":     logOf([]int64{0, 1}, 1, nan),
		"temperature":    {Nanos: []int64{0, 1}, Amperes: []float64{1, 2}, Celsius: []float64{1, nan}},
	} {
		if l.Check() == nil {
			t.Errorf("%s: passed", name)
		}
	}
}

// Whatever the times, every reading is in a bucket, left out, or the log is refused; buckets lie between the least and the greatest reading.
func TestBucketsHoldTheReadings(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		steps := rapid.SliceOfN(rapid.Int64Range(1, 5000), 1, 100).Draw(t, "steps")
		l := &stability.Log{Nanos: []int64{0}, Amperes: []float64{0}}
		for i, d := range steps {
			l.Nanos, l.Amperes = append(l.Nanos, l.Nanos[i]+d), append(l.Amperes, float64(i+1))
		}
		g, err := stability.Arrange(l, 0)
		if err != nil {
			return
		}
		values := 0
		for _, s := range g.Segments {
			values += len(s.Amperes)
			for i, a := range s.Amperes {
				if !(a >= 0 && a <= float64(len(steps))) || i > 0 && a <= s.Amperes[i-1] {
					t.Fatalf("%v is not in the order of the readings", s.Amperes)
				}
			}
		}
		if values-g.Bridged > g.Readings-g.LeftOut || !g.Averaged && values != g.Readings-g.LeftOut {
			t.Fatalf("%d values, %d bridged, of %d readings, %d left out", values, g.Bridged, g.Readings, g.LeftOut)
		}
	})
}
