package charge_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"github.com/ampledger/ampledger/daemon/charge"
	"github.com/ampledger/ampledger/daemon/scan"
)

// near compares with a published figure.
func near(t *testing.T, what string, got, want, relative float64) {
	t.Helper()
	if math.Abs(got-want) > relative*math.Abs(want) {
		t.Errorf("%s: %.12g, want %.12g", what, got, want)
	}
}

// constant is n readings of the same current.
func constant(n int, amperes float64) []float64 {
	all := make([]float64, n)
	for k := range all {
		all[k] = amperes
	}
	return all
}

// n intervals of h: s²h²(n - 1/2) for the trapezoid, s²h²n for the rectangle, exactly (GUM 5.1.2 with the weights of the rule). The
// example n = 600, h = 1 s, s = 0.05 A.
func TestNoiseGrowsByTheWeightsOfTheRule(t *testing.T) {
	samples, means := regular(0, second, constant(601, 1)...), averaged(regular(0, second, constant(600, 1)...))
	for name, test := range map[string]struct {
		r    *scan.Readings
		want float64
	}{
		"trapezoid": {samples, 1.2242345}, "trapezoid, irregular": {irregular(samples), 1.2242345}, "rectangle": {means, 1.2247449},
	} {
		test.r.NoiseAmperes = 0.05
		near(t, name, count(t, plain, test.r).Totals().Uncertainty().Noise, test.want, 5e-8)
	}
	uneven := at(0, []int64{0, second, 4 * second, 9 * second}, 1, 1, 1, 1)
	uneven.NoiseAmperes = 2
	weights := []float64{0.5, 2, 4, 2.5} // seconds
	var want float64
	for _, w := range weights {
		want += w * w * 4
	}
	near(t, "unequal steps", count(t, plain, uneven).Totals().NoiseSquareCoulombs, want, 1e-15)
}

// Growth with time of what a constant unknown offset (GUM 5.2: fully correlated, adds up linearly) and white noise (the angle random walk of
// IEEE 952) do to charge: u_b = 10 mA, N = 0.02 A·√s, in Ah.
func TestGrowthOfUncertaintyWithTime(t *testing.T) {
	for _, test := range []struct {
		seconds    int
		bias, wide float64
	}{
		{60, 1.666667e-4, 4.303315e-5}, {3600, 0.01, 3.333333e-4}, {86400, 0.24, 1.632993e-3}, {604800, 1.68, 4.320494e-3},
	} {
		account := mustNew(t, plain)
		for from := 0; from < test.seconds; from += 60 {
			r := averaged(regular(uint64(from), second, constant(60, 1)...))
			r.ZeroAmperes, r.NoiseAmperes = 0.010, 0.02
			account.Apply(r)
		}
		u := account.Totals().Uncertainty()
		near(t, "bias", u.Zero/3600, test.bias, 5e-7)
		near(t, "white noise", u.Noise/3600, test.wide, 5e-7)
		near(t, "combined", u.Combined/3600, math.Hypot(test.bias, test.wide), 5e-7)
		near(t, "95 %", u.Interval95, 1.96*u.Combined, 1e-15)
	}
}

// One gain measured the charge on its way out and on its way back, so only what remains carries its error (GUM 5.1.6: |Q|·u_g).
func TestGainActsOnNet(t *testing.T) {
	out, back := averaged(regular(0, second, constant(10, 6)...)), averaged(regular(10, second, constant(10, -4)...))
	out.GainRatio, back.GainRatio = 0.002, 0.001
	account := count(t, plain, out)
	near(t, "out", account.Totals().Uncertainty().Gain, 60*0.002, 1e-15)
	first := account.Totals()
	account.Apply(back)
	near(t, "out and back", account.Totals().Uncertainty().Gain, 20*0.002, 1e-15)
	near(t, "back, by the largest ratio so far", account.Totals().Since(first).Uncertainty().Gain, 40*0.002, 1e-15)
}

func TestGapsAddUpLinearlyAsRectangles(t *testing.T) {
	r := flagged(flagged(regular(0, second, constant(7, 0)...), 1, scan.Missing), 4, scan.Missing)
	u := count(t, plain, r).Totals().Uncertainty()
	near(t, "two gaps of 2 s at 100 A", u.Gap, 400/math.Sqrt(3), 1e-15)
}

// Also what was added up elsewhere, as a ledger does, is combined here.
func TestCombineIsTheRootSumOfSquares(t *testing.T) {
	want := charge.Uncertainty{Noise: 1, Gain: 2, Zero: 2, Gap: 4, Combined: 5, Interval95: 9.8}
	if diff := cmp.Diff(want, charge.Combine(1, 2, 2, 4), cmpopts.EquateApprox(1e-15, 0)); diff != "" {
		t.Error("uncertainty (-want +got):\n", diff)
	}
}

// The uncertainty of consecutive differences adds up to that of the whole, each in its own way.
func TestUncertaintyOfDifferencesAddsUp(t *testing.T) {
	account := mustNew(t, plain)
	var noise, zero, gap float64
	earlier := account.Totals()
	for batch := range uint64(50) {
		r := flagged(regular(20*batch, second, constant(20, 1)...), 7, scan.Missing)
		r.NoiseAmperes, r.ZeroAmperes = 0.1+0.01*float64(batch), 0.02
		account.Apply(r)
		entry := account.Totals().Since(earlier)
		u := entry.Uncertainty()
		noise, zero, gap = noise+u.Noise*u.Noise, zero+u.Zero, gap+u.Gap
		earlier = account.Totals()
	}
	whole := account.Totals().Uncertainty()
	near(t, "noise", math.Sqrt(noise), whole.Noise, 1e-12)
	near(t, "zero", zero, whole.Zero, 1e-12)
	near(t, "gap", gap, whole.Gap, 1e-12)
}

// The stated 95 % interval holds the truth in 95 % of the runs: noise from reading to reading, one offset and one gain error for
// the run. Bounds are three standard deviations of a binomial of 4000.
func TestInterval95HoldsTheTruthIn95Percent(t *testing.T) {
	const runs, current, n = 4000, 50.0, 200
	random := rand.New(rand.NewPCG(952, 1997))
	held := 0
	for range runs {
		offset, gain := 0.03*random.NormFloat64(), 1+0.0005*random.NormFloat64()
		amperes := constant(n+1, 0)
		for k := range amperes {
			amperes[k] = current*gain + offset + 0.4*random.NormFloat64()
		}
		r := regular(0, second, amperes...)
		r.NoiseAmperes, r.ZeroAmperes, r.GainRatio = 0.4, 0.03, 0.0005
		totals := count(t, plain, r).Totals()
		if math.Abs(float64(totals.Net())/1e6-current*n) <= totals.Uncertainty().Interval95 {
			held++
		}
	}
	if math.Abs(float64(held)-0.95*runs) > 3*math.Sqrt(runs*0.95*0.05) {
		t.Errorf("held the truth in %.2f %% of the runs", 100*float64(held)/runs)
	}
}
