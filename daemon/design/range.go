package design

// Range is how far and how finely a channel reads. A nil figure is not known.
type Range struct {
	LowAmperes      *float64 `json:"low_amperes"`       // at or beyond it the channel saturates, or its readings are refused
	HighAmperes     *float64 `json:"high_amperes"`      //
	AmperesPerCount *float64 `json:"amperes_per_count"` //
	// LostAmperes is the greatest change of the current that may leave no trace: a count, where the noise of a reading does not carry it over the step; else 0.
	LostAmperes   *float64 `json:"lost_below_amperes"`
	CountsOfRated *float64 `json:"counts_at_rated_current"`
	RatedAmperes  *float64 `json:"rated_amperes"`
}

func (c *Candidate) span() (r Range) {
	low, high := c.Sensor.Limits()
	r.LowAmperes, r.HighAmperes = finite(low), finite(high)
	count := c.Sensor.AmperesPerCount()
	rated := c.ratedAmperes()
	if rated > 0 {
		r.RatedAmperes = &rated
	}
	if count == 0 {
		return r
	}
	lost := 0.0
	if _, independent := c.Sensor.Rounding(); !independent {
		lost = count
	}
	r.AmperesPerCount, r.LostAmperes = &count, &lost
	if rated > 0 {
		r.CountsOfRated = finite(rated / count)
	}
	return r
}
