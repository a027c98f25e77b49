package fusion

import "math"

// difference is what was seen of one channel over the summary in which it was last used together with others.
type difference struct {
	square  float64 // A²: of the mean by which the fused current would move without it, less the variance of that mean by noise
	amperes float64 // the mean current then, as a magnitude
}

// beyond gives the part of it in amperes that a gain's uncertainty does not explain.
func (d difference) beyond(gain float64) float64 {
	return math.Sqrt(max(0, d.square-square(gain*d.amperes)))
}

// apart gathers a difference.
type apart struct {
	count   float64 // scans
	moves   float64 // sum of the differences, amperes
	noise   float64 // its variance by noise, A²
	current float64 // sum of the fused currents, amperes
}

// add takes in so many scans with the same channels, with the sums of each channel's readings.
func (a *apart) add(t *table, channels set, i int, sums *vector, count float64) {
	with, without := t.of(channels), t.of(channels.without(i))
	first := channels.first()
	for j := range sums {
		if channels.has(j) {
			change := without.weights[j] - with.weights[j]
			// The changes sum up to 0, so the sums may be taken from that of any channel: smaller numbers, more digits.
			a.moves += float64(change * (sums[j] - sums[first]))
			a.noise += float64(count * square(change*t.noise[j]))
			a.current += float64(with.weights[j] * sums[j])
		}
	}
	a.count += count
}

// take gives what was gathered, if anything was, and begins anew.
func (a *apart) take(d *difference) {
	if a.count > 0 {
		d.square = max(0, square(a.moves/a.count)-a.noise/square(a.count))
		d.amperes = math.Abs(a.current) / a.count
	}
	*a = apart{}
}
