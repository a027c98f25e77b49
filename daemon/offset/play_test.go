package offset_test

import (
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"github.com/ampledger/ampledger/daemon/offset"
	"github.com/ampledger/ampledger/daemon/scan"
)

func plays(halfWidths ...float64) *offset.Plays {
	p := &offset.Plays{}
	p.Want(halfWidths)
	return p
}

// played drives one operator of a half-width with currents, cut into batches at the places given, and gives the mean of its output.
func played(width float64, currents []float64, cuts ...int) float64 {
	p := plays(width)
	from := 0
	for _, to := range append(cuts, len(currents)) {
		r := &scan.Readings{Amperes: currents[from:to], Usable: to - from}
		p.Add(r)
		from = to
	}
	return p.Take(nil)[0]
}

// TestPlayByHand follows one operator of half-width 2 A by hand: it sticks within ±2 A, then follows with z = ±1, and returns on its own path.
func TestPlayByHand(t *testing.T) {
	for _, c := range []struct {
		currents []float64
		z        []float64 // after each
	}{
		{[]float64{0, 1, 2, 3, 10}, []float64{0, 0.5, 1, 1, 1}},
		{[]float64{0, 10, 9, 8, 6, 0}, []float64{0, 1, 0.5, 0, -1, -1}},
		{[]float64{5, 4, 6, 5}, []float64{0, -0.5, 0.5, 0}},          // a loop within the play leaves nothing
		{[]float64{0, 10, 0, 4, 0}, []float64{0, 1, -1, 1, -1}},      // a loop beyond it closes
		{[]float64{0, 10, 7, 10, 7}, []float64{0, 1, -0.5, 1, -0.5}}, // and a minor one too
	} {
		sum := 0.0
		for _, z := range c.z {
			sum += z
		}
		if got := played(2, c.currents); math.Abs(got-sum/float64(len(c.z))) > 1e-15 {
			t.Errorf("%v: mean output %g, by hand %g", c.currents, got, sum/float64(len(c.z)))
		}
	}
}

// TestPlayIsRateIndependent inserts readings on the way: where it ends does not depend on how fast it got there.
func TestPlayIsRateIndependent(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		corners := rapid.SliceOfN(rapid.Float64Range(-100, 100), 2, 20).Draw(t, "corners")
		var slow []float64
		for i, c := range corners[1:] {
			for s := range 7 {
				slow = append(slow, corners[i]+(c-corners[i])*float64(s)/7)
			}
		}
		slow = append(slow, corners[len(corners)-1])
		last := func(currents []float64) float64 {
			p := plays(5)
			p.Add(&scan.Readings{Amperes: currents[:len(currents)-1], Usable: len(currents) - 1})
			p.Take(nil)
			p.Add(&scan.Readings{Amperes: currents[len(currents)-1:], Usable: 1})
			return p.Take(nil)[0]
		}
		if fast, slow := last(corners), last(slow); math.Abs(fast-slow) > 1e-12 {
			t.Errorf("fast it ends at %g, slowly at %g", fast, slow)
		}
	})
}

func TestPlayCutsChangeNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		currents := rapid.SliceOfN(rapid.Float64Range(-100, 100), 1, 50).Draw(t, "currents")
		cut := rapid.IntRange(0, len(currents)).Draw(t, "cut")
		whole, parts := played(3, currents), played(3, currents, cut)
		if whole != parts {
			t.Errorf("whole %g, cut at %d %g", whole, cut, parts)
		}
		if whole < -1 || whole > 1 {
			t.Errorf("mean output %g", whole)
		}
	})
}

// TestPlaySkipsUnusable passes over a reading that cannot be used: the operator does not move, and the mean is over the others.
func TestPlaySkipsUnusable(t *testing.T) {
	p := plays(2)
	p.Add(&scan.Readings{Amperes: []float64{math.NaN(), 0, 1e9, 1}, Quality: []scan.Quality{scan.Missing, 0, scan.Saturated, 0}, Usable: 2})
	if got := p.Take(nil)[0]; got != 0.25 {
		t.Errorf("mean output %g, want (0 + 0.5)/2", got)
	}
	if got := p.Take(nil)[0]; got != 0 {
		t.Errorf("mean output %g of nothing", got)
	}
}

// TestPlayPlacesStay wants operators twice: those that are there keep their place and their state, a new one begins at the newest reading.
func TestPlayPlacesStay(t *testing.T) {
	p := plays(2, 4)
	p.Add(&scan.Readings{Amperes: []float64{0, 10}, Usable: 2})
	if diff := cmp.Diff([]int{2, 0, 1}, p.Want([]float64{1, 2, 4})); diff != "" {
		t.Errorf("places (-want +got):\n%s", diff)
	}
	p.Take(nil)
	p.Add(&scan.Readings{Amperes: []float64{9.5}, Usable: 1})
	// After 10 A the first two are displaced fully; half an ampere back leaves 1 − 0.5/r of it, and −0.5/r of the new one's rest.
	if diff := cmp.Diff([]float64{0.75, 0.875, -0.5}, p.Take(nil)); diff != "" {
		t.Errorf("outputs (-want +got):\n%s", diff)
	}
}

// TestPlayResumes cuts the readings anywhere and goes on with other operators that stand where the first ones stood; a new one among them
// begins with the first reading.
func TestPlayResumes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		currents := rapid.SliceOfN(rapid.Float64Range(-100, 100), 2, 50).Draw(t, "currents")
		cut := rapid.IntRange(1, len(currents)-1).Draw(t, "cut")
		batch := func(currents []float64) *scan.Readings {
			return &scan.Readings{Amperes: currents, Usable: len(currents)}
		}
		before := plays(3, 20)
		before.Add(batch(currents[:cut]))
		before.Take(nil)
		after := &offset.Plays{}
		after.Resume(before.Stand())
		if diff := cmp.Diff([]int{1, 2}, after.Want([]float64{20, 7})); diff != "" {
			t.Fatalf("places (-want +got):\n%s", diff)
		}
		before.Add(batch(currents[cut:]))
		after.Add(batch(currents[cut:]))
		fresh := plays(7)
		fresh.Add(batch(currents[cut:]))
		if diff := cmp.Diff(append(before.Take(nil), fresh.Take(nil)...), after.Take(nil)); diff != "" {
			t.Fatalf("outputs (-want +got):\n%s", diff)
		}
	})
}
