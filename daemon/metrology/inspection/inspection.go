package inspection

import "math"

// Flow is what is known to flow, in the sign of the readings.
type Flow int

// The flows.
const (
	Unknown  Flow = iota // nothing is known
	Nothing              // the contactor is open, or the lugs are off
	Positive             // a load or a charger drives current in the positive direction
	Negative             // or in the other
)

// Verdict is how a check came out.
type Verdict string

// The verdicts.
const (
	Passed Verdict = "passed"
	Failed Verdict = "failed"
	Untold Verdict = "untold" // there is not enough to tell it by
)

// Channel is what a channel read.
type Channel struct {
	Name             string
	Nanos            []int64   // of usable readings, strictly increasing
	Amperes          []float64 // as many, before or after compensation
	Raw              []float64 // the raw values they were made of; empty = there are none
	Counts           bool      // raw values are whole counts
	Unusable         int
	NoiseAmperes     float64 // stated, of one reading; 0 = nothing is stated
	ZeroAmperes      float64 // stated
	GainRatio        float64 // stated
	FullScaleAmperes float64 // 0 = not known
}

// Finding is the outcome of one check.
type Finding struct {
	Check   string  `json:"check"`
	Channel string  `json:"channel"`
	Verdict Verdict `json:"verdict"`
	Text    string  `json:"text"`
}

// fewest is how many readings there must be to tell anything.
const fewest = 20

// Inspect does all checks, channel by channel, and then those of channels beside each other.
func Inspect(channels []Channel, flow Flow) (found []Finding) {
	for i := range channels {
		c := &channels[i]
		for _, check := range []struct {
			name string
			does func(*Channel, Flow) (Verdict, string)
		}{
			{"usable readings", usable}, {"direction and zero", direction}, {"noise", noise}, {"counts of the range", counts}, {"order of bytes", order}, {"scale", scale},
			{"pick-up at 50 Hz", pickUp(50)}, {"pick-up at 60 Hz", pickUp(60)},
		} {
			verdict, text := Untold, "too few readings: look for longer"
			if len(c.Amperes) >= fewest || check.name == "usable readings" {
				verdict, text = check.does(c, flow)
			}
			found = append(found, Finding{check.name, c.Name, verdict, text})
		}
	}
	for i := range channels {
		for j := i + 1; j < len(channels); j++ {
			found = append(found, agreement(&channels[i], &channels[j]))
		}
	}
	return found
}

func mean(values []float64) float64 {
	sum := 0.0
	for _, v := range values {
		sum += v - values[0]
	}
	return values[0] + sum/float64(len(values))
}

// systematic is the uncertainty of a mean of the channel's readings.
func (c *Channel) systematic(amperes float64) float64 {
	return math.Hypot(math.Hypot(c.ZeroAmperes, c.GainRatio*amperes), c.deviation()/math.Sqrt(float64(len(c.Amperes))))
}

// deviation is the standard deviation of a reading, from the differences of neighbours, so that a current that moves slowly is no noise.
func (c *Channel) deviation() float64 {
	sum := 0.0
	for i := 1; i < len(c.Amperes); i++ {
		d := c.Amperes[i] - c.Amperes[i-1]
		sum += d * d
	}
	return math.Sqrt(sum / float64(2*max(1, len(c.Amperes)-1)))
}
