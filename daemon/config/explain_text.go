package config

import (
	"fmt"
	"io"
	"strings"
)

const unknownYet = "not known until the driver runs"

// WriteText writes the explanation for people.
func (e Explanation) WriteText(w io.Writer) error {
	var b strings.Builder
	for _, x := range e.Channels {
		x.text(&b)
	}
	if len(e.Warnings) > 0 {
		b.WriteString("warnings\n")
	}
	for _, text := range e.Warnings {
		fmt.Fprintf(&b, "  - %s\n", text)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

func (x ChannelExplanation) text(b *strings.Builder) {
	fmt.Fprintf(b, "conductor %s, channel %s (%s)\n", x.Conductor, x.Channel, x.Kind)
	line := func(name, text string) { fmt.Fprintf(b, "  %-26s %s\n", name, text) }
	line("full scale", x.fullScale())
	if x.Kind == Fused {
		line("a day's charge, zero", figure(x.ZeroDriftAmpereHours, "Ah standard uncertainty", "not stated"))
		x.notes(line)
		b.WriteString("\n")
		return
	}
	line("one count", figure(x.AmperesPerCount, "A", x.uncounted()))
	line("quantisation", figure(x.QuantisationAmperes, "A standard uncertainty", x.uncounted()))
	line("noise of a reading", figure(x.NoiseAmperes, "A standard deviation", "not stated"))
	line("a day's charge, zero", figure(x.ZeroDriftAmpereHours, "Ah standard uncertainty", "not stated"))
	line("a day's charge, noise", x.noise())
	if x.Kind == "shunt" {
		line("drop at rated current", figure(x.RatedDropMillivolts, "mV", "rated_amperes is not stated"))
		line("power at rated current", figure(x.RatedPowerWatts, "W", "rated_amperes is not stated"))
	}
	if x.RatedRiseKelvin != nil {
		line("rise at rated current", figure(x.RatedRiseKelvin, "K above ambient", ""))
	}
	x.notes(line)
	b.WriteString("\n")
}

func (x ChannelExplanation) notes(line func(name, text string)) {
	for _, note := range x.Notes {
		line("note", note)
	}
}

func (x ChannelExplanation) fullScale() string {
	if x.MinimumAmperes == nil || x.MaximumAmperes == nil {
		return unknownYet
	}
	return fmt.Sprintf("%.4g A to %.4g A", *x.MinimumAmperes, *x.MaximumAmperes)
}

// uncounted is why there is no count to speak of.
func (x ChannelExplanation) uncounted() string {
	if x.Kind == "reported" {
		return "the meter's own"
	}
	return unknownYet
}

func (x ChannelExplanation) noise() string {
	if x.NoiseDriftAmpereHours == nil {
		return "not known without noise_amperes and the driver's rate"
	}
	return fmt.Sprintf("%s at %.4g readings a second", figure(x.NoiseDriftAmpereHours, "Ah standard uncertainty", ""), *x.NoiseRateHertz)
}

func figure(x *float64, unit, otherwise string) string {
	if x == nil {
		return otherwise
	}
	return fmt.Sprintf("%.4g %s", *x, unit)
}
