package zero

import "math"

const (
	windowTimes = 5 // the window is so many correlation times long (Sokal)
	mostWindow  = 4 // and at most one part in so many of the readings
)

// correlation is how readings hang together.
type correlation struct {
	variance float64 // of one reading, n−1 in the denominator
	inflated float64 // 2τ, 1 or more: the variance of a mean of n is variance·inflated/n
	window   int     // lags that were summed
	closed   bool    // the window closed before a quarter of the readings was reached
}

// correlate looks at distances from a mean or a curve.
func correlate(residuals []float64) (c correlation) {
	n := len(residuals)
	total := lagged(residuals, 0)
	c.variance = total / float64(n-1)
	if total == 0 {
		return correlation{inflated: 1, closed: true}
	}
	tau := 0.5
	for c.window = 1; c.window <= n/mostWindow; c.window++ {
		tau += lagged(residuals, c.window) / total
		if float64(c.window) >= windowTimes*tau {
			c.closed = true
			break
		}
	}
	c.window = min(c.window, n/mostWindow)
	bias := 1 - float64(2*c.window+1)/float64(n)
	c.inflated = max(1, 2*tau/bias)
	return c
}

// lagged sums products of values so many places apart.
func lagged(values []float64, lag int) (sum float64) {
	for i := lag; i < len(values); i++ {
		sum += values[i] * values[i-lag]
	}
	return sum
}

// freedom is the degrees of freedom of the variance of a mean.
func (c correlation) freedom(n int) float64 { return max(1, float64(n)/float64(2*c.window+1)-1) }

// meanVariance is that of a mean of n.
func (c correlation) meanVariance(n int) float64 { return c.variance * c.inflated / float64(n) }

// kolmogorov is the probability that the largest excursion of a Brownian bridge is x or more.
func kolmogorov(x float64) (p float64) {
	if x < 0.2 {
		return 1 // to 1e−12, where the series converges slowly
	}
	for j := 1.0; j < 100; j++ {
		term := 2 * math.Exp(-2*j*j*x*x)
		if math.Mod(j, 2) == 0 {
			term = -term
		}
		if p += term; math.Abs(term) < 1e-17 {
			break
		}
	}
	return max(0, min(1, p))
}
