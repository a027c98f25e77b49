package config

import (
	"math"
	"strings"
	"testing"
)

// TestExplainFused weighs zeros of 3 A and 4 A: 0.64 and 0.36, together 2.4 A (weighted mean and its uncertainty, by hand).
func TestExplainFused(t *testing.T) {
	text := func(second string) string {
		return "state: s\ndevices: [{name: adc0, driver: replay}]\nconductors:\n  - name: pack\n    charge_from: fused\n    channels:\n" +
			"      - {name: fine, device: adc0, input: a, reported: {rated_amperes: 50}, zero_uncertainty_amperes: 3}\n" +
			"      - {name: coarse, device: adc0, input: b, reported: {rated_amperes: 500}" + second + "}\n"
	}
	explained := func(second string) ChannelExplanation {
		t.Helper()
		c, err := Parse([]byte(text(second)), "pack.yaml", "")
		if err != nil {
			t.Fatal(err)
		}
		return Explain(c, nil).Channels[2]
	}
	x := explained(", zero_uncertainty_amperes: 4")
	if math.Abs(*x.ZeroDriftAmpereHours-2.4*24) > 1e-9 || *x.MaximumAmperes != 500 || *x.MinimumAmperes != -500 {
		t.Errorf("%g Ah a day, %g A to %g A", *x.ZeroDriftAmpereHours, *x.MinimumAmperes, *x.MaximumAmperes)
	}
	if !strings.Contains(x.Notes[0], "fine 64 %, coarse 36 %") {
		t.Errorf("notes: %q", x.Notes)
	}
	if x := explained(""); x.ZeroDriftAmpereHours != nil || !strings.Contains(x.Notes[0], "state it for each") {
		t.Errorf("with a zero that is not stated: %+v", x)
	}
}
