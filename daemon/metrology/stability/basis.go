package stability

import "math"

// The terms of the model, in this order everywhere. The first three are noises.
const (
	whiteTerm = iota
	flickerTerm
	walkTerm
	driftTerm
	termCount
	noiseCount = driftTerm
)

// basis gives what each squared coefficient adds to the Allan variance at an averaging time: N², B², K², R² (IEEE Std 952 Annex C; SP 1065 table 3).
func basis(tau float64) [termCount]float64 {
	return [termCount]float64{1 / tau, 2 * math.Ln2 / math.Pi, tau / 3, tau * tau / 2}
}

// kernel gives the generalised covariance of the charge at two instants t intervals apart for N, B and K of 1, in A²s²: what is left of it in
// second differences (Greenhall and Riley 2003, s_w). Drift is no noise and has none.
func kernel(t, interval float64) (k [noiseCount]float64) {
	h2 := interval * interval
	k[whiteTerm] = -t * interval / 2
	if t > 0 {
		k[flickerTerm] = t * t * math.Log(t) * h2 / (2 * math.Pi)
	}
	k[walkTerm] = t * t * t * h2 * interval / 12
	return k
}

// crossKernel gives the covariances of a normalised second difference with factor m1 and one with factor m2 that begins some lag later.
type crossKernel struct {
	m1, m2, step int
	kernels      [][noiseCount]float64 // at distances of 0, 1, 2 … steps
	scale        float64
}

// newCrossKernel reaches lags up to reach; both factors and all lags are multiples of step.
func newCrossKernel(m1, m2, step, reach int, interval float64) *crossKernel {
	c := &crossKernel{m1: m1, m2: m2, step: step, scale: 1 / (2 * float64(m1) * float64(m2) * interval * interval)}
	for t := 0; t <= reach+2*max(m1, m2); t += step {
		c.kernels = append(c.kernels, kernel(float64(t), interval))
	}
	return c
}

// at gives the covariance for each noise of 1.
func (c *crossKernel) at(lag int) (sum [noiseCount]float64) {
	for a, wa := range secondDifference {
		for b, wb := range secondDifference {
			t := lag + b*c.m2 - a*c.m1
			k := &c.kernels[max(t, -t)/c.step]
			for n := range sum {
				sum[n] += wa * wb * c.scale * k[n]
			}
		}
	}
	return sum
}

var secondDifference = [3]float64{1, -2, 1}
