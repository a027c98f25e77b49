package inspection

import (
	"fmt"
	"math"
)

const (
	seenChance  = 1e-3 // probability below which a line of the spectrum is no chance
	leastCycles = 10
)

// pickUp looks for a sine of a frequency: the windowed (Hann) Fourier component of the readings less their line. Of white noise its square over
// its expectation is distributed exponentially.
func pickUp(hertz float64) func(*Channel, Flow) (Verdict, string) {
	return func(c *Channel, _ Flow) (Verdict, string) {
		n := len(c.Amperes)
		seconds := float64(c.Nanos[n-1]-c.Nanos[0]) / 1e9
		rate := float64(n-1) / seconds
		switch {
		case !(rate > 2*hertz):
			return Untold, fmt.Sprintf("at %.4g readings a second it cannot be told from slower changes", rate)
		case seconds*hertz < leastCycles:
			return Untold, "too short: look for longer"
		}
		amplitude, chance := c.line(hertz)
		says := fmt.Sprintf("%.3g A (amplitude)", amplitude)
		switch {
		case chance > seenChance:
			return Passed, says + ", no more than noise has"
		case c.NoiseAmperes > 0 && amplitude/math.Sqrt2 <= c.NoiseAmperes:
			return Passed, says + ", seen, but within the noise that is stated"
		}
		return Failed, says + ": more than noise has; look at the screen, the earth and the way of the sense leads, or average over whole cycles"
	}
}

// line gives the amplitude of a frequency and the probability of so great a one in white noise.
func (c *Channel) line(hertz float64) (amplitude, chance float64) {
	n := len(c.Amperes)
	centre, slope, middle := c.trend()
	var real, imaginary, weights, squares float64
	for i, a := range c.Amperes {
		w := 0.5 - 0.5*math.Cos(2*math.Pi*(float64(i)+0.5)/float64(n))
		t := float64(c.Nanos[i]-c.Nanos[0]) / 1e9
		y := w * (a - centre - slope*(t-middle))
		s, k := math.Sincos(2 * math.Pi * hertz * t)
		real, imaginary, weights, squares = real+y*k, imaginary+y*s, weights+w, squares+w*w
	}
	power := real*real + imaginary*imaginary
	amplitude = 2 * math.Sqrt(power) / weights
	floor := c.rest(amplitude)
	if power == 0 {
		return 0, 1
	}
	return amplitude, math.Exp(-power / (floor * squares))
}

// rest is the variance of the readings about their line without the sine itself.
func (c *Channel) rest(amplitude float64) float64 {
	centre, slope, middle := c.trend()
	sum := 0.0
	for i, a := range c.Amperes {
		d := a - centre - slope*(float64(c.Nanos[i]-c.Nanos[0])/1e9-middle)
		sum += d * d
	}
	return max(sum/float64(len(c.Amperes)-2)-amplitude*amplitude/2, 1e-300)
}

// trend is the straight line through the readings: its middle value, slope and middle time.
func (c *Channel) trend() (centre, slope, middle float64) {
	times := make([]float64, len(c.Nanos))
	for i, t := range c.Nanos {
		times[i] = float64(t-c.Nanos[0]) / 1e9
	}
	middle, centre = mean(times), mean(c.Amperes)
	var products, squares float64
	for i, t := range times {
		products += (t - middle) * (c.Amperes[i] - centre)
		squares += (t - middle) * (t - middle)
	}
	return centre, products / squares, middle
}
