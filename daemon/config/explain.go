package config

import (
	"fmt"
	"math"
	"slices"
)

// InputFacts are what a driver tells about one of its inputs.
type InputFacts struct {
	Unit          string  // "code" for converter counts, else the unit of the values: "V", "A", "Cel", "1"
	MinimumCode   float64 // the converter's limits, if RangeKnown
	MaximumCode   float64 //
	RangeKnown    bool    //
	VoltsPerCode  float64 // 0 = not told
	ZeroCodeVolts float64 // volts at code zero
	RateHertz     float64 // of the scans; 0 = not told or irregular
}

// Explanation is what a configuration means for the measurement, before anything was measured. A nil figure is not known.
type Explanation struct {
	Channels []ChannelExplanation `json:"channels"`
	Warnings []string             `json:"warnings"` // likely mistakes and dangers; none makes the configuration wrong
}

// ChannelExplanation is one channel's part.
type ChannelExplanation struct {
	Conductor string `json:"conductor"`
	Channel   string `json:"channel"`
	Kind      string `json:"kind"` // shunt, magnetic, reported or fused

	MinimumAmperes        *float64 `json:"minimum_amperes"`          // full scale: what the code range, or maximum_amperes if it is less, can tell
	MaximumAmperes        *float64 `json:"maximum_amperes"`          // the sign is the conductor's
	AmperesPerCount       *float64 `json:"amperes_per_count"`        //
	QuantisationAmperes   *float64 `json:"quantisation_amperes"`     // standard uncertainty of rounding to a count
	NoiseAmperes          *float64 `json:"noise_amperes"`            // standard deviation of a reading, as stated
	ZeroDriftAmpereHours  *float64 `json:"zero_drift_ampere_hours"`  // standard uncertainty of a day's charge from the stated zero
	NoiseDriftAmpereHours *float64 `json:"noise_drift_ampere_hours"` // and from the stated noise, independent from reading to reading
	NoiseRateHertz        *float64 `json:"noise_rate_hertz"`         // the scan rate that was taken for it
	RatedPowerWatts       *float64 `json:"rated_power_watts"`        // in the shunt at rated current
	RatedRiseKelvin       *float64 `json:"rated_rise_kelvin"`        // of the shunt at rated current, steady
	RatedDropMillivolts   *float64 `json:"rated_drop_millivolts"`    // across the shunt at rated current

	Notes []string `json:"notes"`
}

const (
	hoursPerDay    = 24
	secondsPerHour = 3600
)

// Explain computes it for a configuration that was read, with what the drivers told: by device and input, as far as there is any.
func Explain(c *Config, inputs map[string]map[string]InputFacts) Explanation {
	e := Explanation{Warnings: unusedDevices(c)}
	for _, conductor := range c.Conductors {
		first := len(e.Channels)
		for _, channel := range conductor.Channels {
			explained, warnings := explainChannel(conductor, channel, inputs[channel.Device][channel.Input])
			e.Channels = append(e.Channels, explained)
			e.Warnings = append(e.Warnings, warnings...)
		}
		if conductor.ChargeFrom == Fused {
			e.Channels = append(e.Channels, explainFused(conductor, e.Channels[first:]))
		}
		e.Warnings = append(e.Warnings, unretained(c, conductor, inputs)...)
	}
	return e
}

func explainChannel(c Conductor, ch Channel, facts InputFacts) (ChannelExplanation, []string) {
	x := ChannelExplanation{Conductor: c.Name, Channel: ch.Name, Kind: ch.Kind()}
	explainScale(&x, ch, facts)
	explainDrift(&x, ch, facts)
	if ch.Shunt != nil {
		explainShunt(&x, *ch.Shunt)
	}
	var warnings []string
	for _, text := range slices.Concat(unstated(ch), tooShort(x, c, ch), tooCoarse(x, ch), tooSlow(c, ch, facts), pointless(ch)) {
		warnings = append(warnings, fmt.Sprintf("conductor %s, channel %s: %s", c.Name, ch.Name, text))
	}
	return x, warnings
}

// explainScale says what the counts are worth and how far they reach.
func explainScale(x *ChannelExplanation, ch Channel, facts InputFacts) {
	l, known := lineOf(ch, facts)
	counts := ch.Reported == nil && facts.Unit != "A" && facts.Unit != "V"
	if known && counts {
		step := math.Abs(l.slope)
		x.AmperesPerCount = &step
		x.QuantisationAmperes = ptr(step / math.Sqrt(12)) // a rectangle of one count's width: JCGM 100:2008, F.2.2.1
	}
	if facts.Unit == "V" {
		x.Notes = append(x.Notes, "the driver gives volts, not counts: what one count is worth and how far they reach is not known here")
	}
	low, high := math.Inf(-1), math.Inf(1)
	if least, greatest, told := codesOf(ch, facts); told && known && counts {
		low, high = min(l.at(least), l.at(greatest)), max(l.at(least), l.at(greatest))
	} else if ch.Reported != nil && ch.Reported.RatedAmperes > 0 {
		low, high = -ch.Reported.RatedAmperes, ch.Reported.RatedAmperes
	}
	if limit := ch.MaximumAmperes; limit != nil {
		low, high = max(low, -*limit), min(high, *limit)
	}
	if !math.IsInf(high, 0) && !math.IsInf(low, 0) {
		x.MinimumAmperes, x.MaximumAmperes = &low, &high
	}
}

// explainDrift says what the stated uncertainties do to the charge of a day: the zero's grows with time, white noise's with its root.
func explainDrift(x *ChannelExplanation, ch Channel, facts InputFacts) {
	if ch.ZeroUncertaintyAmperes > 0 {
		x.ZeroDriftAmpereHours = ptr(ch.ZeroUncertaintyAmperes * hoursPerDay)
	}
	if ch.NoiseAmperes > 0 {
		x.NoiseAmperes = &ch.NoiseAmperes
	}
	if ch.NoiseAmperes > 0 && facts.RateHertz > 0 {
		x.NoiseRateHertz = &facts.RateHertz
		day := float64(hoursPerDay * secondsPerHour)
		x.NoiseDriftAmpereHours = ptr(ch.NoiseAmperes * math.Sqrt(day/facts.RateHertz) / secondsPerHour)
	}
}

// customaryDrops are the rated drops shunts are sold with, in millivolts: 60 and 150 in Central European practice (DIN 43703 names
// 60), 50 and 100 in North America, 60 and 75 in GOST 8042-93.
var customaryDrops = []float64{50, 60, 75, 100, 150}

func explainShunt(x *ChannelExplanation, s Shunt) {
	x.Notes = append(x.Notes, "a shunt is not isolated: the measuring electronics, and all that is connected to it, is at the pack's "+
		"potential; above 60 V d.c., the usual limit for parts that may be touched, or where the pack shares a point with the mains "+
		"side of a converter, put an isolation barrier behind it")
	if s.RatedAmperes == 0 {
		x.Notes = append(x.Notes, "power and rated drop need rated_amperes")
		return
	}
	power := s.RatedAmperes * s.RatedAmperes * s.ResistanceOhms
	drop := s.RatedAmperes * s.ResistanceOhms * 1000
	x.RatedPowerWatts, x.RatedDropMillivolts = &power, &drop
	if s.SelfHeating != nil {
		x.RatedRiseKelvin = ptr(power * s.SelfHeating.KelvinPerWatt)
	}
	if !slices.ContainsFunc(customaryDrops, func(mv float64) bool { return math.Abs(drop-mv) <= 0.005*mv }) {
		x.Notes = append(x.Notes, fmt.Sprintf("a rated drop of %.4g mV is none of the customary 50, 60, 75, 100 and 150 mV: "+
			"compare the resistance with what is printed on the shunt", drop))
	}
}

func ptr(x float64) *float64 { return &x }
