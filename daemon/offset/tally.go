package offset

import "github.com/ampledger/ampledger/daemon/scan"

// Tally sums one channel's statically compensated readings up over a summary: what an estimator gets to see.
// The zero value is empty. It allocates nothing.
//
// Sums are of differences from the first reading, so that a large mean costs no digits (Chan, Golub and LeVeque 1983, shifted data), and
// run from reading to reading, so that how readings are cut into batches changes no bit.
type Tally struct {
	Count    int     // usable readings
	Unusable int     // the others
	Minimum  float64 // amperes; meaningful if Count > 0
	Maximum  float64

	origin  float64 // the first usable reading
	sum     float64 // of the differences from it
	squares float64 // of their squares

	warmOrigin float64 // the first temperature
	warmSum    float64 // of the differences from it, up to where the level began
	level      float64 // the newest difference
	held       int     // temperatures in a row that gave it
	warm       int     // temperatures
}

// Mean of the usable readings in amperes; 0 if there are none.
func (t *Tally) Mean() float64 {
	if t.Count == 0 {
		return 0
	}
	return t.origin + t.sum/float64(t.Count)
}

// Variance of them in A² with denominator n − 1; 0 if there are fewer than two.
func (t *Tally) Variance() float64 {
	if t.Count < 2 {
		return 0
	}
	n := float64(t.Count)
	return max(0, t.squares-float64(t.sum*t.sum)/n) / (n - 1)
}

// Celsius is the mean temperature of the sensor, if it was measured.
func (t *Tally) Celsius() (mean float64, known bool) {
	if t.warm == 0 {
		return 0, false
	}
	return t.warmOrigin + (t.warmSum+float64(t.level*float64(t.held)))/float64(t.warm), true
}

// Add takes the readings of r before any estimate was subtracted; temperature is the column of the sensor's temperature or nil.
func (t *Tally) Add(r *scan.Readings, temperature *scan.Column) {
	t.Unusable += r.Len() - r.Usable
	if temperature != nil {
		t.addTemperature(temperature, r.Len())
	}
	if r.Usable == 0 {
		return
	}
	if t.Count == 0 {
		t.begin(r)
	}
	t.Count += r.Usable
	t.Minimum, t.Maximum = min(t.Minimum, r.Minimum), max(t.Maximum, r.Maximum)
	sum, squares := t.sum, t.squares
	for k, y := range r.Amperes {
		if r.Quality == nil || r.Quality[k] == 0 {
			d := y - t.origin
			sum += d
			squares += float64(d * d)
		}
	}
	t.sum, t.squares = sum, squares
}

// begin takes the first usable reading as the origin.
func (t *Tally) begin(r *scan.Readings) {
	k := 0
	for r.QualityAt(k) != 0 {
		k++
	}
	t.origin, t.Minimum, t.Maximum = r.Amperes[k], r.Minimum, r.Maximum
}

// addTemperature weighs a value by the scans it stands for, so that it does not matter whether the driver repeats it. Equal ones in a row
// enter the sum at once when another follows, since adding them one by one would round otherwise than adding those of each batch.
func (t *Tally) addTemperature(column *scan.Column, scans int) {
	each := 1
	if len(column.Values) == 1 {
		each = scans
	}
	for k, v := range column.Values {
		if v-v != 0 || column.FlagAt(k) != 0 {
			continue
		}
		if t.warm == 0 {
			t.warmOrigin = v
		}
		if d := v - t.warmOrigin; d != t.level {
			t.warmSum += float64(t.level * float64(t.held))
			t.level, t.held = d, 0
		}
		t.held += each
		t.warm += each
	}
}
