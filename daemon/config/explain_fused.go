package config

import (
	"fmt"
	"math"
	"strings"
)

// explainFused says what the combination of a conductor's channels is before anything was measured: weighed by what is stated of the zeros
// (the weighted mean, w ∝ 1/u²), as wide as the widest channel.
func explainFused(c Conductor, of []ChannelExplanation) ChannelExplanation {
	x := ChannelExplanation{Conductor: c.Name, Channel: Fused, Kind: Fused}
	sum := 0.0
	for i, ch := range c.Channels {
		sum += 1 / (ch.ZeroUncertaintyAmperes * ch.ZeroUncertaintyAmperes)
		x.MinimumAmperes = widest(x.MinimumAmperes, of[i].MinimumAmperes, math.Min)
		x.MaximumAmperes = widest(x.MaximumAmperes, of[i].MaximumAmperes, math.Max)
	}
	if math.IsInf(sum, 1) {
		x.Notes = append(x.Notes, "a channel of which no zero_uncertainty_amperes is stated counts as exact and gets all the weight: state it for each")
		return x
	}
	x.ZeroDriftAmpereHours = ptr(hoursPerDay / math.Sqrt(sum))
	var weights []string
	for _, ch := range c.Channels {
		weights = append(weights, fmt.Sprintf("%s %.3g %%", ch.Name, 100/(ch.ZeroUncertaintyAmperes*ch.ZeroUncertaintyAmperes*sum)))
	}
	x.Notes = append(x.Notes, "weights at no current, before anything is estimated: "+strings.Join(weights, ", ")+
		"; a channel that is saturated or gives nothing is left out")
	return x
}

// widest takes a limit that is known, and of two the wider.
func widest(a, b *float64, wider func(x, y float64) float64) *float64 {
	switch {
	case a == nil:
		return b
	case b == nil:
		return a
	}
	return ptr(wider(*a, *b))
}
