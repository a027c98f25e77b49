package config

import (
	"fmt"
	"math"
)

// unusedDevices are often a misspelled channel.
func unusedDevices(c *Config) []string {
	used := map[string]bool{}
	for _, conductor := range c.Conductors {
		if conductor.Contactor != nil {
			used[conductor.Contactor.Device] = true
		}
		for _, channel := range conductor.Channels {
			used[channel.Device] = true
		}
	}
	var warnings []string
	for _, d := range c.Devices {
		if !used[d.Name] {
			warnings = append(warnings, fmt.Sprintf("device %s: no channel reads it", d.Name))
		}
	}
	return warnings
}

// bytesPerReading is what a reading takes while it is retained: two doubles, and a little for its frame.
const bytesPerReading = 17

// unretained compares what is to be kept before an event with what the conductor retains of all its channels, and the whole window with the
// room there is for waveforms, as far as the rates are known.
func unretained(c *Config, conductor Conductor, inputs map[string]map[string]InputFacts) (warnings []string) {
	most, all := 0.0, 0.0 // readings a second
	for _, channel := range conductor.Channels {
		rate := inputs[channel.Device][channel.Input].RateHertz
		most, all = max(most, rate), all+rate
	}
	retained, kept := c.Retain.Megabytes*(1<<20), c.Abuse.WaveformMegabytes*(1<<20)
	if before := *c.Abuse.BeforeSeconds; before*all*bytesPerReading > retained {
		warnings = append(warnings, fmt.Sprintf("conductor %s: its channels give %.4g readings a second, of which retain.megabytes holds about %.3g s: "+
			"less than abuse.before_seconds, %.4g s; waveforms will begin late", conductor.Name, all, retained/(all*bytesPerReading), before))
	}
	if window := *c.Abuse.BeforeSeconds + *c.Abuse.AfterSeconds; window*most*bytesPerReading > kept {
		warnings = append(warnings, fmt.Sprintf("conductor %s: the waveform of one event takes about %.3g MB, more than abuse.waveform_megabytes: "+
			"it is dropped as soon as it is there", conductor.Name, window*most*bytesPerReading/(1<<20)))
	}
	return warnings
}

// unstated names the uncertainties without which the stated ones of the results are too small.
func unstated(ch Channel) []string {
	var warnings []string
	if ch.ZeroUncertaintyAmperes == 0 {
		warnings = append(warnings, "zero_uncertainty_amperes is not stated: the zero is taken as exact, and the charge's uncertainty comes out too small")
	}
	if ch.GainUncertaintyRatio == 0 {
		warnings = append(warnings, "gain_uncertainty_ratio is not stated: the gain is taken as exact, and the charge's uncertainty comes out too small")
	}
	return warnings
}

// tooShort compares the full scale with what the channel is to see: the guard's pickups and the sensor's rated current.
func tooShort(x ChannelExplanation, c Conductor, ch Channel) []string {
	if x.MaximumAmperes == nil || x.MinimumAmperes == nil {
		return nil
	}
	var warnings []string
	for _, e := range c.Guard {
		pickup, any := pickupOf(e)
		if reach := reachOf(x, c.Positive, e.Direction); any && e.Channel == ch.Name && reach < pickup {
			warnings = append(warnings, fmt.Sprintf("guard element %s picks up at %.4g A, but the channel reads no further than %.4g A in direction %s: "+
				"the element cannot operate there", e.Name, pickup, reach, e.Direction))
		}
	}
	if rated, furthest := ratedOf(ch), max(*x.MaximumAmperes, -*x.MinimumAmperes); ch.Magnetic != nil && ch.MaximumAmperes == nil && rated > 0 && furthest > rated {
		warnings = append(warnings, fmt.Sprintf("the converter reads up to %.4g A and the sensor is rated for %.4g A: where its output itself ends is not known, "+
			"and from there on it reads too little without a word; write maximum_amperes", furthest, rated))
	}
	if rated, reach := ratedOf(ch), reachOf(x, c.Positive, "both"); reach < rated {
		warnings = append(warnings, fmt.Sprintf("the channel reads no further than %.4g A, less than its rated %.4g A", reach, rated))
	}
	return warnings
}

// pointless finds what has no effect.
func pointless(ch Channel) []string {
	s := ch.Shunt
	if s == nil || ch.Temperature != nil || s.SelfHeating != nil {
		return nil
	}
	if s.TemperatureCoefficientPerKelvin != 0 || s.TemperatureCoefficientPerKelvin2 != 0 {
		return []string{"the temperature coefficient has no effect without temperature or self_heating"}
	}
	return nil
}

func pickupOf(e Element) (amperes float64, any bool) {
	switch {
	case e.Instantaneous != nil:
		return e.Instantaneous.PickupAmperes, true
	case e.DefiniteTime != nil:
		return e.DefiniteTime.PickupAmperes, true
	case e.InverseTime != nil:
		return e.InverseTime.PickupAmperes, true
	}
	return 0, false
}

// reachOf is the greatest magnitude the channel can tell in a direction; for both, the lesser of the two.
func reachOf(x ChannelExplanation, positive, direction string) float64 {
	up, down := max(0, *x.MaximumAmperes), max(0, -*x.MinimumAmperes)
	switch direction {
	case positive:
		return up
	case "both":
		return math.Min(up, down)
	}
	return down
}

func ratedOf(ch Channel) float64 {
	switch {
	case ch.Shunt != nil:
		return ch.Shunt.RatedAmperes
	case ch.Magnetic != nil:
		return ch.Magnetic.RatedAmperes
	}
	return 0
}
