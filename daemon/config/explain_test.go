package config

import (
	"encoding/json"
	"math"
	"slices"
	"strings"
	"testing"
)

// near holds a figure against a wanted one to a part in 10⁹.
func near(t *testing.T, what string, got *float64, want float64) {
	t.Helper()
	if got == nil || math.Abs(*got-want) > 1e-9*math.Abs(want) {
		t.Errorf("%s: got %v, want %v", what, show(got), want)
	}
}

func show(x *float64) any {
	if x == nil {
		return "nothing"
	}
	return *x
}

func one(ch Channel, guard ...Element) *Config {
	ch.Name, ch.Device = "m", "a"
	c := &Config{State: "s", Devices: []Device{{Name: "a"}}, Conductors: []Conductor{{Name: "pack", Channels: []Channel{ch}, Guard: guard}}}
	fill(c)
	return c
}

// TestRatedDrops: resistance and power from rated current and drop. The drops are customary ones (60 mV: DIN 43703; 50 and 100 mV:
// North American instrument practice; 60 and 75 mV: GOST 8042-93; 60 and 150 mV: Central European switchboard practice), the rest is
// R = U/I and P = U·I. The pairs 100 A, 75 mV = 0.75 mΩ and 50 A, 75 mV = 1.5 mΩ are printed in public articles on shunts.
func TestRatedDrops(t *testing.T) {
	table := []struct{ amperes, millivolts, ohms, watts float64 }{
		{50, 75, 1.5e-3, 3.75}, {100, 75, 0.75e-3, 7.5}, {100, 50, 0.5e-3, 5}, {500, 50, 0.1e-3, 25}, {1000, 60, 60e-6, 60},
		{200, 60, 0.3e-3, 12}, {10, 150, 15e-3, 1.5}, {500, 100, 0.2e-3, 50},
	}
	for _, row := range table {
		c := one(Channel{Shunt: &Shunt{RatedAmperes: row.amperes, RatedMillivolts: row.millivolts, SelfHeating: &SelfHeating{KelvinPerWatt: 2}}})
		x := Explain(c, nil).Channels[0]
		near(t, "resistance", &c.Conductors[0].Channels[0].Shunt.ResistanceOhms, row.ohms)
		near(t, "power", x.RatedPowerWatts, row.watts)
		near(t, "rise", x.RatedRiseKelvin, 2*row.watts)
		near(t, "drop", x.RatedDropMillivolts, row.millivolts)
		if strings.Contains(strings.Join(x.Notes, ""), "customary") {
			t.Errorf("%v mV is customary: %q", row.millivolts, x.Notes)
		}
	}
	odd := Explain(one(Channel{Shunt: &Shunt{RatedAmperes: 500, ResistanceOhms: 0.001}}), nil).Channels[0]
	if !strings.Contains(strings.Join(odd.Notes, ""), "500 mV is none of the customary") {
		t.Errorf("a factor of ten in the resistance is not noted: %q", odd.Notes)
	}
}

// TestScale: 16 bits at 76.3 µV, amplified 50 times, on 100 µΩ: a count is 76.3e-6/(50·100e-6) = 15.26 mA, 2¹⁵ of them are 500.04 A.
func TestScale(t *testing.T) {
	step, gain := 76.3e-6, 1.25
	shunt := func() *Shunt {
		return &Shunt{Converter: Converter{VoltsPerCount: &step, Bits: 16}, ResistanceOhms: 100e-6, Gain: 50}
	}
	limit := 300.0
	codes := InputFacts{Unit: "code", MinimumCode: 0, MaximumCode: 4095, RangeKnown: true, VoltsPerCode: 0.001}
	table := []struct {
		name             string
		channel          Channel
		facts            InputFacts
		low, high, count float64
	}{
		{"shunt from its bits", Channel{Shunt: shunt()}, InputFacts{}, -500.03968, 500.02442, 0.01526},
		{"the driver's range stands before the bits", Channel{Shunt: shunt()}, codes, 0, 62.4897, 0.01526},
		{"reversed", Channel{Shunt: shunt(), Reversed: true}, InputFacts{}, -500.02442, 500.03968, 0.01526},
		{"limited", Channel{Shunt: shunt(), MaximumAmperes: &limit}, InputFacts{}, -300, 300, 0.01526},
		{"calibrated", Channel{Shunt: shunt(), Calibration: &Calibration{OffsetAmperes: 1, Gain: &gain}}, InputFacts{}, -400.831744, 399.219536, 0.012208},
		// 4095 counts of 1 mV around 2.047 V, 4 mV/A, two turns: 1 mV is 0.125 A, 2.047 V is 255.875 A.
		{"magnetic", Channel{Magnetic: &Magnetic{VoltsPerAmpere: 0.004, PrimaryTurns: 2, ZeroVolts: 2.047}}, codes, -255.875, 256, 0.125},
	}
	for _, row := range table {
		t.Run(row.name, func(t *testing.T) {
			row.channel.Input = "i"
			x := Explain(one(row.channel), map[string]map[string]InputFacts{"a": {"i": row.facts}}).Channels[0]
			if row.low == 0 && *x.MinimumAmperes != 0 {
				t.Errorf("least: %v", *x.MinimumAmperes)
			}
			near(t, "least", x.MinimumAmperes, row.low)
			near(t, "greatest", x.MaximumAmperes, row.high)
			near(t, "count", x.AmperesPerCount, row.count)
			near(t, "quantisation", x.QuantisationAmperes, row.count/math.Sqrt(12))
		})
	}
}

// TestDrift: 0.5 A of zero is 12 Ah in a day. 1 A of white noise at 1 reading a second sums to √86400 As = 0.08165 Ah.
func TestDrift(t *testing.T) {
	ch := Channel{Input: "i", Reported: &Reported{}, ZeroUncertaintyAmperes: 0.5, NoiseAmperes: 1}
	at := func(hertz float64) ChannelExplanation {
		return Explain(one(ch), map[string]map[string]InputFacts{"a": {"i": {Unit: "A", RateHertz: hertz}}}).Channels[0]
	}
	near(t, "zero", at(0).ZeroDriftAmpereHours, 12)
	near(t, "noise", at(0).NoiseAmperes, 1)
	near(t, "noise at 1 Hz", at(1).NoiseDriftAmpereHours, math.Sqrt(86400)/3600)
	near(t, "noise at 100 Hz", at(100).NoiseDriftAmpereHours, math.Sqrt(864)/3600)
	if at(0).NoiseDriftAmpereHours != nil || at(1).AmperesPerCount != nil || at(1).MaximumAmperes != nil {
		t.Error("a figure is given that cannot be known")
	}
}

func TestWarnings(t *testing.T) {
	step := 76.3e-6
	pickup := func(amperes float64, direction string) Element {
		return Element{Name: "e", Direction: direction, Instantaneous: &Instantaneous{PickupAmperes: amperes}}
	}
	delay := func(seconds float64) []Element {
		return []Element{{Name: "d", DefiniteTime: &DefiniteTime{PickupAmperes: 100, DelaySeconds: seconds}}}
	}
	unipolar := InputFacts{Unit: "code", MaximumCode: 4095, RangeKnown: true} // reads 0 to 62 A, so discharge only
	table := []struct {
		name  string
		ch    Channel
		facts InputFacts
		guard []Element
		want  string // is among the warnings
		not   string // is not
	}{
		{"pickup beyond full scale", Channel{}, InputFacts{}, []Element{pickup(600, "both")}, "guard element e picks up at 600 A", ""},
		{"pickup within full scale", Channel{}, InputFacts{}, []Element{pickup(400, "both")}, "", "guard element"},
		{"the wrong direction", Channel{}, unipolar, []Element{pickup(10, "charge")}, "no further than 0 A in direction charge", ""},
		{"the right direction", Channel{}, unipolar, []Element{pickup(10, "discharge")}, "", "guard element"},
		{"both where there is one", Channel{}, unipolar, []Element{pickup(10, "both")}, "no further than 0 A in direction both", ""},
		{"zero not stated", Channel{GainUncertaintyRatio: 0.01}, InputFacts{}, nil, "zero_uncertainty_amperes is not stated", "gain_uncertainty"},
		{"gain not stated", Channel{ZeroUncertaintyAmperes: 1}, InputFacts{}, nil, "gain_uncertainty_ratio is not stated", "zero_uncertainty"},
		{"rated beyond full scale", Channel{}, unipolar, nil, "less than its rated 500 A", ""},
		{"a delay of one scan and a half", Channel{}, InputFacts{RateHertz: 10}, delay(0.15), "guard element d has a delay of 0.15 s, but a scan comes only every 0.1 s", ""},
		{"a delay of two scans", Channel{}, InputFacts{RateHertz: 10}, delay(0.2), "", "has a delay"},
		{"no delay", Channel{}, InputFacts{RateHertz: 10}, delay(0), "", "has a delay"},
		{"a delay at an unknown rate", Channel{}, InputFacts{}, delay(0.01), "", "has a delay"},
		{"coefficient without temperature", Channel{}, InputFacts{}, nil, "temperature coefficient has no effect", ""},
		{"coefficient with temperature", Channel{Temperature: &Input{"t"}}, InputFacts{}, nil, "", "coefficient"},
	}
	for _, row := range table {
		t.Run(row.name, func(t *testing.T) {
			row.ch.Input = "i"
			row.ch.Shunt = &Shunt{Converter: Converter{VoltsPerCount: &step, Bits: 16}, ResistanceOhms: 100e-6, RatedAmperes: 500, Gain: 50,
				TemperatureCoefficientPerKelvin: 1e-5}
			e := Explain(one(row.ch, row.guard...), map[string]map[string]InputFacts{"a": {"i": row.facts}})
			all := strings.Join(e.Warnings, "\n")
			if !strings.Contains(all, row.want) || row.not != "" && strings.Contains(all, row.not) {
				t.Errorf("got %s", all)
			}
			if !slices.ContainsFunc(e.Channels[0].Notes, func(n string) bool { return strings.Contains(n, "not isolated") }) {
				t.Error("nothing is said about isolation")
			}
		})
	}
}

// TestTooCoarse: 12 bits over ±2.5 V on 100 µΩ without an amplifier: a count of 1.22 mV is 12.2 A, 41 of them the rated 500 A.
func TestTooCoarse(t *testing.T) {
	step, fine := 0.00122, 0.00122/25
	for _, row := range []struct {
		ch   Channel
		want string // empty = no warning
	}{
		{Channel{Shunt: &Shunt{Converter: Converter{VoltsPerCount: &step}, RatedAmperes: 500, RatedMillivolts: 50}}, "the rated 500 A are 41 counts, so that one is 2.4 % of them: its rated drop of 50 mV is too small"},
		{Channel{Shunt: &Shunt{Converter: Converter{VoltsPerCount: &fine}, RatedAmperes: 500, RatedMillivolts: 50}}, ""},
		{Channel{Magnetic: &Magnetic{Converter: Converter{VoltsPerCount: &step}, VoltsPerAmpere: 0.002, RatedAmperes: 500}}, "820 counts, so that one is 0.12 % of them: take a sensor of more volts"},
		{Channel{Magnetic: &Magnetic{Converter: Converter{VoltsPerCount: &step}, VoltsPerAmpere: 0.005, RatedAmperes: 500}}, ""},
	} {
		e := Explain(one(row.ch), nil)
		if all := strings.Join(e.Warnings, "\n"); !strings.Contains(all, row.want) || row.want == "" && strings.Contains(all, "counts, so that") {
			t.Errorf("want %q, got %s", row.want, all)
		}
	}
}

// TestUnretained warns of a window that memory cannot hold, or the disk: 16 MB hold about 98.7 s of 10 000 readings a second, 256 MB about 26 min.
func TestUnretained(t *testing.T) {
	for name, row := range map[string]struct {
		hertz, before, after, megabytes float64
		want                            string // empty = nothing
	}{
		"all fits":                    {1e4, 98, 500, 256, ""},
		"the rate is not known":       {0, 600, 0, 1, ""},
		"before reaches too far back": {1e4, 99, 0, 256, "retain.megabytes holds about 98.7 s: less than abuse.before_seconds, 99 s"},
		"one is more than all may be": {1e4, 1, 6, 1, "the waveform of one event takes about 1.13 MB, more than abuse.waveform_megabytes"},
	} {
		t.Run(name, func(t *testing.T) {
			c := one(Channel{Input: "i", Reported: &Reported{RatedAmperes: 100}, ZeroUncertaintyAmperes: 1, GainUncertaintyRatio: 0.1})
			c.Abuse = Abuse{BeforeSeconds: &row.before, AfterSeconds: &row.after, WaveformMegabytes: row.megabytes}
			e := Explain(c, map[string]map[string]InputFacts{"a": {"i": {Unit: "A", RateHertz: row.hertz}}})
			if all := strings.Join(e.Warnings, "\n"); !strings.Contains(all, row.want) || row.want == "" && all != "" {
				t.Errorf("got %q", all)
			}
		})
	}
}

// TestReachFollowsThePositiveDirection: where charge is positive, a unipolar converter reads charge only.
func TestReachFollowsThePositiveDirection(t *testing.T) {
	top, bottom := 62.0, 0.0
	x := ChannelExplanation{MinimumAmperes: &bottom, MaximumAmperes: &top}
	for _, row := range []struct {
		positive, direction string
		want                float64
	}{
		{"charge", "charge", 62}, {"charge", "discharge", 0}, {"discharge", "discharge", 62}, {"discharge", "charge", 0},
	} {
		if got := reachOf(x, row.positive, row.direction); got != row.want {
			t.Errorf("positive %s, direction %s: %v", row.positive, row.direction, got)
		}
	}
}

// TestExplanationText holds what people and programs see of full.yaml, with and without a driver's facts, against files.
func TestExplanationText(t *testing.T) {
	c := mustParse(t, cases+"/good/full.yaml")
	facts := map[string]map[string]InputFacts{"adc0": {
		"shunt_code":  {Unit: "code", MinimumCode: -32768, MaximumCode: 32767, RangeKnown: true, RateHertz: 100},
		"second_code": {Unit: "V", RateHertz: 100},
	}}
	for name, inputs := range map[string]map[string]map[string]InputFacts{"explained": facts, "explained-without-driver": nil} {
		var b strings.Builder
		e := Explain(c, inputs)
		if err := e.WriteText(&b); err != nil {
			t.Fatal(err)
		}
		data, err := json.MarshalIndent(e, "", "  ")
		if err != nil {
			t.Fatal(err)
		}
		golden(t, cases+"/good/"+name+".txt", b.String()+"\n"+string(data)+"\n")
	}
}
