package offset

import (
	"math"

	"github.com/ampledger/ampledger/daemon/scan"
)

// Tally sums one channel's statically compensated readings up over a summary: what an estimator gets to see.
// The zero value is empty. It allocates nothing.
type Tally struct {
	Count    int     // usable readings
	Unusable int     // the others
	Minimum  float64 // amperes; meaningful if Count > 0
	Maximum  float64

	mean    float64
	squares float64 // sum of squared differences from the mean

	celsius float64 // sum
	warm    int     // temperatures in it
}

// Mean of the usable readings in amperes; 0 if there are none.
func (t *Tally) Mean() float64 { return t.mean }

// Variance of them in A² with denominator n − 1; 0 if there are fewer than two.
func (t *Tally) Variance() float64 {
	if t.Count < 2 {
		return 0
	}
	return t.squares / float64(t.Count-1)
}

// Celsius is the mean temperature of the sensor, if it was measured.
func (t *Tally) Celsius() (mean float64, known bool) {
	if t.warm == 0 {
		return 0, false
	}
	return t.celsius / float64(t.warm), true
}

// Add takes the readings of r before any estimate was subtracted; temperature is the column of the sensor's temperature or nil.
func (t *Tally) Add(r *scan.Readings, temperature *scan.Column) {
	count, mean, squares := moments(r)
	t.merge(count, mean, squares, r)
	t.Unusable += r.Len() - count
	if temperature != nil {
		t.addTemperature(temperature, r.Len())
	}
}

// moments gives count, mean and the sum of squared differences, in two passes so that a large mean costs no digits.
func moments(r *scan.Readings) (count int, mean, squares float64) {
	sum := 0.0
	if r.Quality == nil {
		for _, y := range r.Amperes {
			sum += y
		}
	} else {
		for k, y := range r.Amperes {
			if r.Quality[k] == 0 {
				sum += y
			}
		}
	}
	if r.Usable == 0 {
		return 0, 0, 0
	}
	mean = sum / float64(r.Usable)
	for k, y := range r.Amperes {
		if r.Quality == nil || r.Quality[k] == 0 {
			d := y - mean
			squares += float64(d * d)
		}
	}
	return r.Usable, mean, squares
}

// merge joins two sets of moments (Chan, Golub and LeVeque 1983, pairwise update).
func (t *Tally) merge(count int, mean, squares float64, r *scan.Readings) {
	if count == 0 {
		return
	}
	if t.Count == 0 {
		t.Count, t.mean, t.squares, t.Minimum, t.Maximum = count, mean, squares, r.Minimum, r.Maximum
		return
	}
	n, m := float64(t.Count), float64(count)
	d := mean - t.mean
	t.mean += d * m / (n + m)
	t.squares += squares + d*d*n*m/(n+m)
	t.Count += count
	t.Minimum, t.Maximum = math.Min(t.Minimum, r.Minimum), math.Max(t.Maximum, r.Maximum)
}

// addTemperature weighs a value by the scans it stands for, so that it does not matter whether the driver repeats it.
func (t *Tally) addTemperature(column *scan.Column, scans int) {
	each := 1
	if len(column.Values) == 1 {
		each = scans
	}
	for k, v := range column.Values {
		if v-v == 0 && column.FlagAt(k) == 0 {
			t.celsius += v * float64(each)
			t.warm += each
		}
	}
}
