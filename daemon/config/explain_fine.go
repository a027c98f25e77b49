package config

import "fmt"

// fewestCounts is how many counts the rated current should be at least: a thousand make a count a tenth of a percent of it. Common practice, no source.
const fewestCounts = 1000

// tooCoarse compares a count with the sensor's rated current: the drop of a shunt, or the output of a sensor, may be too small for the converter.
func tooCoarse(x ChannelExplanation, ch Channel) []string {
	rated := ratedOf(ch)
	if x.AmperesPerCount == nil || rated == 0 || rated / *x.AmperesPerCount >= fewestCounts {
		return nil
	}
	remedy := "take a sensor of more volts an ampere, or a finer converter"
	if ch.Shunt != nil {
		remedy = fmt.Sprintf("its rated drop of %.3g mV is too small for the converter: raise the gain, or take a finer converter or a shunt of more drop",
			1000*rated*ch.Shunt.ResistanceOhms)
	}
	return []string{fmt.Sprintf("the rated %.4g A are %.3g counts, so that one is %.2g %% of them: %s",
		rated, rated / *x.AmperesPerCount, 100**x.AmperesPerCount/rated, remedy)}
}

// fewestScans is how many scans should fall into an element's delay: with one alone, when it operates is a matter of when the scans fall.
const fewestScans = 2

// tooSlow compares the delays of a channel's guard elements with the time between its scans.
func tooSlow(c Conductor, ch Channel, facts InputFacts) (warnings []string) {
	for _, e := range c.Guard {
		if e.DefiniteTime == nil || e.Channel != ch.Name || facts.RateHertz == 0 {
			continue
		}
		if delay := e.DefiniteTime.DelaySeconds; delay > 0 && delay*facts.RateHertz < fewestScans {
			warnings = append(warnings, fmt.Sprintf("guard element %s has a delay of %.4g s, but a scan comes only every %.4g s: "+
				"it operates up to so much late; read faster, or take a longer delay",
				e.Name, delay, 1/facts.RateHertz))
		}
	}
	return warnings
}
