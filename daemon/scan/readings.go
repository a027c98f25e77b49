package scan

// Readings are one channel's readings of one span of scans. The stages fill them in order: sensor (Raw, Amperes, Quality,
// noise, gain, zero and the extremes), offset (subtracts Offset, sets ZeroAmperes), then guard and charge read them.
// All readings of one batch share one offset and one set of uncertainties. The slices are reused from batch to batch.
type Readings struct {
	Clock
	Raw     []float64 // as the driver gave them, in the input's unit
	Amperes []float64 // as many as Raw; unusable readings hold the best value there is (a saturated one the rail), or NaN
	Quality []Quality // nil = all good, else as many as Raw

	NoiseAmperes    float64 // standard uncertainty, the part independent from reading to reading
	ZeroAmperes     float64 // standard uncertainty of the zero, common to all readings
	RoundingAmperes float64 // the part of it that no measured zero removes: a quiet converter's rounding
	GainRatio       float64 // relative standard uncertainty of the gain, common to all

	Usable   int     // readings with no quality bit set
	Minimum  float64 // least usable reading; +Inf if there is none
	Maximum  float64 // greatest usable reading; -Inf if there is none
	Causes   Quality // union of all quality bits
	Averaged bool    // a reading is the mean over the interval that ends at its time, not a sample at that time

	Estimate
}

// Estimate is what is known of the estimate that was applied.
type Estimate struct {
	Offset     float64 // amperes that were subtracted
	Age        int64   // ns since it was made, at the first reading; -1 = there is none
	Stale      bool    // too old to rely on
	Estimator  string  // plugin's name; empty = none
	Generation uint64  // counts the estimators in force on the conductor, from 1; 0 = none yet
}

// QualityAt gives the faults of reading k.
func (r *Readings) QualityAt(k int) Quality {
	if r.Quality == nil {
		return 0
	}
	return r.Quality[k]
}

// Len is the number of readings, usable or not.
func (r *Readings) Len() int { return len(r.Amperes) }

// Regular tells that every reading is usable and the time from each to the next is Period.
func (r *Readings) Regular() bool { return r.Period > 0 && r.Usable == len(r.Amperes) }
