package simulate

import "math"

// world is everything that is true whether a sensor looks or not.
type world struct {
	duty        duty
	temperature temperature
}

// instant is the world at one time.
type instant struct {
	amperes       float64 // positive = discharge
	celsius       float64
	contactorOpen bool
}

func (w *world) at(nanos int64) instant {
	amperes, open := w.duty.at(nanos)
	return instant{amperes: amperes, celsius: w.temperature.at(nanos), contactorOpen: open}
}

// temperature is a sine about a mean.
type temperature struct {
	mean, swing float64
	period      int64 // ns
}

func (t temperature) at(nanos int64) float64 {
	return t.mean + float64(t.swing*wave(nanos, t.period))
}

// wave is a sine of unit amplitude. The phase is taken in whole nanoseconds, so it is as sharp after a year as at the start.
// Products that are added to are converted, here and in the sensors: it keeps processors with a fused instruction from rounding
// once where others round twice.
func wave(nanos, period int64) float64 {
	return math.Sin(2 * math.Pi * (float64(nanos%period) / float64(period)))
}
