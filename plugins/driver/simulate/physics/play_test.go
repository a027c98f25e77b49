package physics

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// path takes a core through values and gives the error at each.
func path(core Core, amperes ...float64) (all []float64) {
	for _, a := range amperes {
		all = append(all, core.Advance(a))
	}
	return all
}

func TestPlay(t *testing.T) {
	for _, c := range []struct {
		name      string
		operators Play
		amperes   []float64
		want      []float64
	}{
		{"within the gap it is a gain", Play{{10, 2}}, []float64{0, 5, -5, 10, -10}, []float64{0, 1, -1, 2, -2}},
		{"rising is plus, falling minus the weight", Play{{10, 2}}, []float64{50, 40, 30, 20}, []float64{2, 0, -2, -2}},
		{"after an excursion upwards minus the weight is left", Play{{10, 2}}, []float64{100, 0}, []float64{2, -2}},
		{"after one downwards plus the weight", Play{{10, 2}}, []float64{-100, 0}, []float64{-2, 2}},
		{"a short excursion leaves less", Play{{10, 2}}, []float64{15, 0}, []float64{2, -1}},
		{"a sum", Play{{10, 2}, {1, -0.5}}, []float64{100, 99, 0}, []float64{1.5, 2 - 0.2, -1.5}},
		{"no operators", nil, []float64{100, 0}, []float64{0, 0}},
		{"remanence stated", Remanent(0.5, 100), []float64{100, 0, -100, 0}, []float64{-0.5, 0.5, 0.5, -0.5}},
	} {
		got := path(c.operators.Start(), c.amperes...)
		for i := range got {
			// 2 − 0.2 above is 2·(99−90)/10 = 1.8, and −0.5·(99−99)/1 = 0
			if math.Abs(got[i]-c.want[i]) > 1e-12 {
				t.Errorf("%s: errors %v at %v, want %v", c.name, got, c.amperes, c.want)
				break
			}
		}
	}
}

// drawPlay draws operators, and a core of them with a history.
func drawPlay(t *rapid.T) (Play, *playCore) {
	current := rapid.Float64Range(-100, 100)
	operators := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Operator {
		return Operator{rapid.Float64Range(0.1, 60).Draw(t, "half width"), rapid.Float64Range(-2, 2).Draw(t, "weight")}
	}), 1, 5).Draw(t, "operators")
	core := Play(operators).Start().(*playCore)
	path(core, rapid.SliceOfN(current, 1, 10).Draw(t, "history")...)
	return operators, core
}

func (c *playCore) clone() *playCore { return &playCore{c.operators, slices.Clone(c.at)} }

func near(a, b float64) bool { return math.Abs(a-b) <= 1e-9*(1+math.Abs(a)) }

func nearAll(a, b []float64) bool { return slices.EqualFunc(a, b, near) }

func TestPlayIsIndependentOfTheRate(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		_, slow := drawPlay(t)
		fast, from, to := slow.clone(), rapid.Float64Range(-100, 100).Draw(t, "from"), rapid.Float64Range(-100, 100).Draw(t, "to")
		path(slow, from)
		path(fast, from)
		for i := range 20 {
			slow.Advance(from + (to-from)*float64(i)/20)
		}
		if a, b := slow.Advance(to), fast.Advance(to); !near(a, b) || !nearAll(slow.at, fast.at) {
			t.Fatalf("slowly %v, at once %v", a, b)
		}
		if again := fast.Advance(to); again != fast.Advance(to) {
			t.Fatal("staying changes the error")
		}
	})
}

// TestPlayWipesOut is return-point memory: an excursion that is left behind leaves no trace.
func TestPlayWipesOut(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		_, core := drawPlay(t)
		low := rapid.Float64Range(-100, 99).Draw(t, "low")
		high := rapid.Float64Range(low, 100).Draw(t, "high")
		path(core, low, high, low) // a turning point at high, then one at low
		straight := core.clone()
		path(core, rapid.SliceOfN(rapid.Float64Range(low, high), 0, 10).Draw(t, "excursion")...)
		if a, b := core.Advance(high), straight.Advance(high); !near(a, b) || !nearAll(core.at, straight.at) {
			t.Fatalf("%v A after the excursion, %v A without", a, b)
		}
	})
}

// TestPlayIsCongruent: loops between the same limits have the same shape whatever was before.
func TestPlayIsCongruent(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		operators, one := drawPlay(t)
		other := operators.Start().(*playCore)
		path(other, rapid.SliceOfN(rapid.Float64Range(-100, 100), 0, 10).Draw(t, "other history")...)
		low := rapid.Float64Range(-100, 99).Draw(t, "low")
		high := rapid.Float64Range(low, 100).Draw(t, "high")
		path(one, low, high, low)
		path(other, low, high, low)
		loop := []float64{low + (high-low)/3, high, high - (high-low)/3, low}
		a, b := path(one, loop...), path(other, loop...)
		// z = (I − p)/r, so a play that differs by a constant makes errors that differ by one.
		for i := range a {
			if !near(a[i]-a[0], b[i]-b[0]) {
				t.Fatalf("loops %v and %v", a, b)
			}
		}
	})
}

func TestPlayIsBounded(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		operators, core := drawPlay(t)
		most := 1e-12
		for _, o := range operators {
			most += math.Abs(o.WeightAmperes)
		}
		if got := core.Advance(rapid.Float64().Draw(t, "amperes")); !(math.Abs(got) <= most) {
			t.Fatalf("error %v A, %v at most", got, most)
		}
	})
}
