package charge_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/ampledger/ampledger/daemon/charge"
	"github.com/ampledger/ampledger/daemon/scan"
)

// The sum over the readings of the squared swing (I[k-1] - I[k+1])/2, or I[k] - I[k+1] for means, worked by hand for u = 0.1 s.
func TestErrorsOfTheTimesActWhereTheCurrentChanges(t *testing.T) {
	for _, c := range []struct {
		name    string
		amperes []float64
		means   bool
		squares float64 // of the swings, amperes squared
	}{
		{"steady", []float64{7, 7, 7, 7}, false, 0},
		{"steady means", []float64{7, 7, 7, 7}, true, 0},
		{"ramp", []float64{0, 1, 2, 3}, false, 0.25 + 1 + 1 + 0.25},
		{"ramp of means", []float64{0, 1, 2, 3}, true, 3},
		{"step", []float64{0, 0, 10, 10}, false, 25 + 25},
		{"step of means", []float64{0, 0, 10, 10}, true, 100},
		{"there and back", []float64{0, 10, 0}, false, 25 + 25},
		{"through zero", []float64{-5, 5}, false, 25 + 25},
		{"one reading", []float64{3}, false, 0},
	} {
		r := regular(0, second, c.amperes...)
		r.Averaged, r.Uncertainty = c.means, second/10
		for name, r := range map[string]*scan.Readings{"regular": r, "irregular": irregular(r)} {
			if got := count(t, plain, r).Totals().NoiseSquareCoulombs; math.Abs(got-c.squares*0.01) > 1e-15 {
				t.Errorf("%s, %s: %v C², want %v", c.name, name, got, c.squares*0.01)
			}
		}
		one := mustNew(t, plain)
		for k := range c.amperes {
			one.Apply(cut(r, k, k+1))
		}
		if got := one.Totals().NoiseSquareCoulombs; math.Abs(got-c.squares*0.01) > 1e-15 {
			t.Errorf("%s, one by one: %v C², want %v", c.name, got, c.squares*0.01)
		}
	}
}

// course is a current with a closed integral: 20 A, and 50 A that go round in 7 s.
type course struct{ phase float64 }

func (c course) amperes(at float64) float64 { return 20 + 50*math.Sin(2*math.Pi*at/7+c.phase) }

func (c course) coulombs(from, to float64) float64 {
	round := func(at float64) float64 { return -50 * 7 / (2 * math.Pi) * math.Cos(2*math.Pi*at/7+c.phase) }
	return 20*(to-from) + round(to) - round(from)
}

// TestMonteCarloOfTheTimes reads that current for one round at times that are off by chance, as what polls does, and holds the spread of the charge's
// error, and how often the interval has the truth, against what is stated. The bounds are four standard deviations of the spread of so many runs
// (1/√2n each) and of a binomial of them. Over a whole round the trapezoid itself is exact.
func TestMonteCarloOfTheTimes(t *testing.T) {
	const runs, n, step, u = 2000, 140, 0.05, 0.012
	for name, means := range map[string]bool{"samples": false, "means": true} {
		random, held, squares := rand.New(rand.NewPCG(1588, 5905)), 0, 0.0
		for range runs {
			current := course{2 * math.Pi * random.Float64()}
			amperes, before := make([]float64, n+1), 0.0
			for k := range amperes {
				at := float64(k)*step + u*random.NormFloat64()
				amperes[k] = current.amperes(at)
				if means && k > 0 {
					amperes[k] = current.coulombs(before, at) / (at - before)
				}
				before = at
			}
			r := regular(0, int64(step*1e9), amperes...)
			r.Averaged, r.Uncertainty = means, int64(u*1e9)
			got := count(t, plain, r).Totals()
			if means { // the first reading stands for the interval before it
				got = got.Since(opened(t, r))
			}
			off, stated := float64(got.Net())/1e6-current.coulombs(0, n*step), got.Uncertainty()
			squares += off * off / got.NoiseSquareCoulombs
			if math.Abs(off) <= stated.Interval95 {
				held++
			}
		}
		if ratio := math.Sqrt(squares / runs); math.Abs(ratio-1) > 4/math.Sqrt(2*runs) {
			t.Errorf("%s: the errors are %.3f of what is stated", name, ratio)
		}
		if math.Abs(float64(held)-0.95*runs) > 4*math.Sqrt(runs*0.95*0.05) {
			t.Errorf("%s: held the truth in %.2f %% of the runs", name, 100*float64(held)/runs)
		}
	}
}

// opened gives the totals of the first reading.
func opened(t *testing.T, r *scan.Readings) charge.Totals {
	return count(t, plain, cut(r, 0, 1)).Totals()
}
