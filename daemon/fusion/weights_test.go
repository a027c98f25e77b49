package fusion_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"

	"github.com/ampledger/ampledger/daemon/fusion"
)

// J. R. Taylor, An Introduction to Error Analysis, chapter 7, three measurements of a resistance: 11 ± 1, 12 ± 1 and 10 ± 3 ohms give
// 11.42 ± 0.69 (from memory). It is the rule of the Particle Data Group as well: weights 1/u², uncertainty (Σ 1/u²)^-½.
func TestIndependentChannelsGetTheWeightedMean(t *testing.T) {
	s := weighed(fusion.Part{ZeroAmperes: 1}, fusion.Part{ZeroAmperes: 1}, fusion.Part{ZeroAmperes: 3})
	r := one(t, s, 0, 11, 12, 10)
	near(t, "mean", r.Amperes[0], 11.42, 0.005/12)
	near(t, "uncertainty", r.ZeroAmperes, 0.69, 0.005/2)
	near(t, "exact uncertainty", r.ZeroAmperes, 1/math.Sqrt(1+1+1./9), 1e-14)
}

// Noise enters the weights as that of a mean over the summary, and what is stated as that of one reading; the gain by the greatest mean
// there is.
func TestEveryKindOfErrorCounts(t *testing.T) {
	parts := []fusion.Part{
		{NoiseAmperes: 3, Readings: 9, ZeroAmperes: 2, GainRatio: 0.02, MeanAmperes: 1},
		{NoiseAmperes: 8, Readings: 4, ZeroAmperes: 1, GainRatio: 0.01, MeanAmperes: -100},
	}
	w, r := weights(t, parts, 3)
	a, b := 1+4+4., 16+1+1.
	near(t, "weight", w[0], b/(a+b), 1e-14)
	near(t, "sum", w[0]+w[1], 1, 1e-15)
	near(t, "noise", r.NoiseAmperes, math.Hypot(w[0]*3, w[1]*8), 1e-14)
	near(t, "zero", r.ZeroAmperes, math.Hypot(w[0]*2, w[1]), 1e-14)
	near(t, "gain", r.GainRatio, math.Hypot(w[0]*0.02, w[1]*0.01), 1e-14)
	parts[1].MeanAmperes = nan
	w, _ = weights(t, parts, 3)
	near(t, "weight at 1 A", w[0], 17/(5.0004+17), 1e-5)
}

// correlated gives two channels of these uncertainties and this correlation.
func correlated(a, b, correlation float64) []fusion.Part {
	return []fusion.Part{
		{ZeroAmperes: a, Covariances: []float64{a * a, correlation * a * b}},
		{ZeroAmperes: b, Covariances: []float64{correlation * a * b, b * b}},
	}
}

// L. Lyons, D. Gibaut, P. Clifford, Nucl. Instrum. Methods A 270 (1988) 110, two correlated results (from memory):
//
// w₁ = (σ₂² − ρσ₁σ₂)/(σ₁² + σ₂² − 2ρσ₁σ₂), variance σ₁²σ₂²(1 − ρ²)/(σ₁² + σ₂² − 2ρσ₁σ₂); w₂ < 0 where ρ > σ₁/σ₂.
func TestTwoCorrelatedChannels(t *testing.T) {
	for _, rho := range []float64{-0.9, -0.3, 0, 0.2, 0.39, 0.41, 0.9} {
		const a, b = 2.0, 5.0
		spread := a*a + b*b - 2*rho*a*b
		want, variance := (b*b-rho*a*b)/spread, a*a*b*b*(1-rho*rho)/spread
		if rho > a/b {
			want, variance = 1, a*a
		}
		w, r := weights(t, correlated(a, b, rho), 3)
		near(t, "weight", w[0], want, 1e-13)
		// Independent zeros are the least that is stated, however well two errors may cancel by what the covariances say.
		near(t, "uncertainty", r.ZeroAmperes, max(math.Sqrt(variance), math.Hypot(w[0]*a, w[1]*b)), 1e-13)
	}
}

// At the current for which covariances are stated, zero and gain together are what they say, if the gain's part is no more than that.
func TestTheGainIsTakenOffWhatIsStated(t *testing.T) {
	part := fusion.Part{GainRatio: 0.01, MeanAmperes: 200}
	both := []fusion.Part{part, part}
	both[0].Covariances, both[1].Covariances = []float64{9, 1}, []float64{1, 9}
	_, r := weights(t, both, 3)
	near(t, "gain", r.GainRatio, 0.01/math.Sqrt2, 1e-15)
	near(t, "whole", math.Hypot(r.ZeroAmperes, r.GainRatio*200), math.Sqrt(5), 1e-14)
}

// R. W. Peelle's puzzle (1987, from memory): 1.5 and 1.0, each with 10 % of its own and 20 % in common, combine to 0.88 ± 0.22, below both.
// Without negative weights it is 1.0 ± 0.22.
func TestNoWeightIsNegative(t *testing.T) {
	c := [][]float64{{0.0225 + 0.09, 0.06}, {0.06, 0.01 + 0.04}}
	free := bestWeights(c)
	near(t, "the puzzle's answer", free[0]*1.5+free[1], 0.88, 0.005)
	s := weighed(fusion.Part{Covariances: c[0]}, fusion.Part{Covariances: c[1]})
	r := one(t, s, 0, 1.5, 1)
	near(t, "fused", r.Amperes[0], 1, 1e-15)
	near(t, "uncertainty", r.ZeroAmperes, math.Sqrt(0.05), 1e-15)
}

// spread draws covariances B·Bᵀ of channels whose errors have so many common causes.
func spread(random *rand.Rand, channels int) [][]float64 {
	causes := make([][]float64, channels)
	for i := range causes {
		causes[i] = make([]float64, channels+1)
		for j := range causes[i] {
			causes[i][j] = random.NormFloat64() * math.Exp(random.NormFloat64())
		}
	}
	c := make([][]float64, channels)
	for i := range c {
		for j := range channels {
			sum := 0.0
			for k := range causes[i] {
				sum += causes[i][k] * causes[j][k]
			}
			c[i] = append(c[i], sum)
		}
	}
	return c
}

// stating makes parts of covariances. Their own zeros are said to be perfect.
func stating(c [][]float64) (parts []fusion.Part) {
	for i := range c {
		parts = append(parts, fusion.Part{Covariances: c[i]})
	}
	return parts
}

// Each set of channels has the weights that inverting its own part of the matrix gives, or if some of these are negative those of the best of
// all sets within it. No other weights that sum to 1 have a lesser variance.
func TestWeightsAreThoseOfTheSlowWay(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, fusion.MostChannels).Draw(t, "channels")
		random := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 0))
		c := spread(random, n)
		used := uint(rapid.IntRange(1, 1<<n-1).Draw(t, "used"))
		got, r := weights(t, stating(c), used)
		want := slowWeights(c, used)
		for i := range want {
			near(t, "weight", got[i], want[i], 1e-8)
		}
		near(t, "uncertainty", r.ZeroAmperes, math.Sqrt(quadratic(c, got)), 1e-8)
		for range 50 {
			other, least := perturbed(random, got, used), quadratic(c, got)
			if v := quadratic(c, other); v < least*(1-1e-12) {
				t.Fatalf("weights %v have a variance of %v, %v only %v", got, least, other, v)
			}
		}
	})
}

// perturbed draws other weights: none negative, 0 where not used, their sum 1.
func perturbed(random *rand.Rand, w []float64, used uint) []float64 {
	other, total, size := make([]float64, len(w)), 0.0, math.Pow(10, -4*random.Float64())
	for i := range w {
		if used>>i&1 != 0 {
			other[i] = math.Abs(w[i] + size*random.NormFloat64())
			total += other[i]
		}
	}
	for i := range other {
		other[i] /= total
	}
	return other
}
