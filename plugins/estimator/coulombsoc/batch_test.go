package coulombsoc

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"
)

// batch is the slow, obvious version: everything that is not known is a unit normal of its own, every quantity a constant and a row of coefficients
// of them, and all that was measured is taken into account at once: E(x|z) = E(x) + cov(x,z)·cov(z)⁻¹·(z − E(z)).
type batch struct{ unknown int }

const mostUnknown = 64

type quantity struct {
	constant float64
	by       [mostUnknown]float64
}

func (b *batch) normal(mean, sigma float64) quantity {
	q := quantity{constant: mean}
	q.by[b.unknown] = sigma
	b.unknown++
	return q
}

func (q quantity) plus(factor float64, o quantity) quantity {
	q.constant += factor * o.constant
	for i := range q.by {
		q.by[i] += factor * o.by[i]
	}
	return q
}

func covariances(a, b []quantity) *mat.Dense {
	m := mat.NewDense(len(a), len(b), nil)
	for i := range a {
		for j := range b {
			sum := 0.0
			for k := range a[i].by {
				sum += a[i].by[k] * b[j].by[k]
			}
			m.Set(i, j, sum)
		}
	}
	return m
}

// given says that all of found are 0 and gives the means and the standard uncertainties of asked.
func given(t *rapid.T, found, asked []quantity) (means, sigmas []float64) {
	var inverse, weight, gained, left mat.Dense
	if err := inverse.Inverse(covariances(found, found)); err != nil {
		t.Fatal(err)
	}
	across := covariances(asked, found)
	weight.Mul(across, &inverse)
	z := mat.NewDense(len(found), 1, nil)
	for i, q := range found {
		z.Set(i, 0, -q.constant)
	}
	gained.Mul(&weight, z)
	left.Mul(&weight, across.T())
	left.Sub(covariances(asked, asked), &left)
	for i, q := range asked {
		means, sigmas = append(means, q.constant+gained.At(i, 0)), append(sigmas, math.Sqrt(left.At(i, i)))
	}
	return means, sigmas
}

// TestEqualsBatch lets charge flow at random between marks, with noise, gaps, and a capacity and an efficiency that walk, and compares what is
// stated in the end with the batch. Gain and zero are left out: a batch would learn what they are.
func TestEqualsBatch(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		marks := rapid.SampledFrom([]string{asCoulombs, asShare}).Draw(t, "marks")
		p := started(t, with{
			"capacity_coulombs": 36000.0, "capacity_uncertainty_ratio": 0.03, "capacity_walk_ratio_per_root_year": 1.0, "coulombic_efficiency": 0.98,
			"coulombic_efficiency_uncertainty": 0.01, "coulombic_efficiency_walk_per_root_year": 0.9, "gate": 1e9, "marks": marks,
		})
		b := &batch{}
		full, rate := b.normal(36000, 1080), b.normal(0.98, 0.01)
		var now quantity
		var found []quantity
		known := false
		p.next()
		for range rapid.IntRange(1, 8).Draw(t, "legs") {
			out, in := rapid.Float64Range(0, 9000).Draw(t, "out"), rapid.Float64Range(0, 9000).Draw(t, "in")
			noise, gap := rapid.Float64Range(0, 50).Draw(t, "noise"), rapid.Float64Range(0, 200).Draw(t, "gap")
			p.charge.OutCoulombs += out
			p.charge.InCoulombs += in
			p.charge.NoiseSquareCoulombs += noise * noise
			p.charge.GapBoundCoulombs += gap
			now = now.plus(in, rate).plus(-out, quantity{constant: 1}).plus(1, b.normal(0, noise)).plus(1, b.normal(0, gap/math.Sqrt(3)))
			full = full.plus(1, b.normal(0, 36000*math.Sqrt(60/yearSeconds)))
			rate = rate.plus(1, b.normal(0, 0.9*math.Sqrt(60/yearSeconds)))
			states, u := rapid.Float64Range(0, 36000).Draw(t, "states"), rapid.Float64Range(10, 2000).Draw(t, "u")
			p.next(stores(states, u))
			error := b.normal(0, u)
			stated := quantity{constant: states}
			if marks == asShare {
				stated = quantity{}.plus(states/36000, full)
			}
			if !known {
				known, now = true, stated.plus(1, error)
				continue
			}
			found = append(found, now.plus(-1, stated).plus(1, error))
		}
		p.charge.InCoulombs += 5000
		now = now.plus(5000, rate)
		full = full.plus(1, b.normal(0, 36000*math.Sqrt(60/yearSeconds)))
		rate = rate.plus(1, b.normal(0, 0.9*math.Sqrt(60/yearSeconds)))
		p.next()
		if len(found) == 0 {
			found = []quantity{b.normal(0, 1)}
		}
		means, sigmas := given(t, found, []quantity{now, full, rate})
		for i, name := range outputs[1:] {
			value, u := p.output(name)
			if math.Abs(value-means[i]) > 1e-6*math.Abs(means[i])+1e-6*sigmas[i] || math.Abs(u-sigmas[i]) > 1e-6*sigmas[i] {
				t.Errorf("%s is %.9g ± %.9g, by the batch %.9g ± %.9g", name, value, u, means[i], sigmas[i])
			}
		}
	})
}

// TestGainAndZeroAreSensitivities finds what a gain and a zero that are one standard deviation off do to the states by counting it so, and wants it to be
// what the estimate holds. Marks agree with what is counted rightly, so that the weights do not matter.
func TestGainAndZeroAreSensitivities(t *testing.T) {
	const gain, zero = 1e-6, 1e-3 // ratio; coulombs in each step
	run := func(byGain, byZero float64) *pack {
		p := started(t, with{
			"capacity_coulombs": 36000.0, "coulombic_efficiency": 0.98, "coulombic_efficiency_uncertainty": 0.01, "marks": asShare, "gate": 1e9,
		})
		p.next(stores(30000, 100))
		p.charge.GainRatio = gain
		whole := 30000.0
		for k := range 40 {
			out, in := float64(k%5)*700, float64(k%3)*1000
			whole += 0.98*in - out
			p.charge.OutCoulombs += out*(1+byGain*gain) + byZero*zero
			p.charge.InCoulombs += in * (1 + byGain*gain)
			p.charge.ZeroCoulombs += zero
			p.charge.NetUncertaintyCoulombs = 1e6
			if k%10 == 6 {
				p.next(stores(whole, 200))
			} else {
				p.next()
			}
		}
		return p
	}
	right, gained, shifted := run(0, 0), run(1, 0), run(0, 1)
	now := right.memory.Main.at(&right.memory.Counted, &right.walks)
	for i := range states {
		for _, c := range []struct {
			name  string
			wrong *pack
			want  float64
		}{{"gain", gained, now.Gain[i]}, {"zero", shifted, now.Zero[i]}} {
			other := c.wrong.memory.Main.at(&c.wrong.memory.Counted, &c.wrong.walks)
			if got := other.Mean[i] - now.Mean[i]; math.Abs(got-c.want) > 1e-4*math.Abs(c.want) || c.want == 0 {
				t.Errorf("state %d is off by %g for the %s, the estimate holds %g", i, got, c.name, c.want)
			}
		}
	}
}
