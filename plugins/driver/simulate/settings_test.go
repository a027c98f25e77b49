package simulate

import (
	"os"
	"testing"
)

func TestSettingsFaults(t *testing.T) {
	t.Chdir(t.TempDir())
	for name, text := range map[string]string{
		"back.csv": "t,a\n1,1\n0,1\n", "bad.csv": "t,a\n0,x\n", "short.csv": "t,a\n5,1\n6,2\n", "one.csv": "t,a\n0,1\n", "inf.csv": "t,a\n0,inf\n", "notime.csv": "t,a\n,1\n", "ragged.csv": "t,a\n1\n",
	} {
		if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	recording := func(file string, more with) with {
		settings := with{"file": file, "column": "a"}
		for key, value := range more {
			settings[key] = value
		}
		return with{"rate_hertz": 1, "duty": []any{settings}}
	}
	for _, c := range []struct {
		name     string
		settings with
		want     string
	}{
		{"unknown", with{"sped": 1}, `unknown setting "sped"`},
		{"unknown inside", with{"rate_hertz": 1, "shunt": with{"ohm": 1}}, `unknown setting "ohm" in "shunt"`},
		{"several", with{"speed": -1, "duration_seconds": -1, "repeat": true, "temperature": with{"period_seconds": 0},
			"shunt": with{"gain": 0, "bits": 33, "noise_amperes": -1}, "magnetic": with{"bits": 32, "signed": false, "gain_error_ratio": -1, "minimum_volts": 2, "maximum_volts": 2}},
			`setting "rate_hertz": 0 is not within 0.001 to 1e+06
setting "duration_seconds": -1 s is not within 1e-09 to 3000000000
setting "repeat": there is no duty to repeat, add one or leave it out
setting "temperature.period_seconds": 0 s is not within 1e-09 to 3000000000
setting "shunt.resistance_ohms": 0 is not above zero
setting "shunt.gain": 0 makes every code the same, leave it out or give another
setting "shunt.bits": 33 is not within 2 to 32
setting "shunt.volts_per_code": 0 is not above zero
setting "shunt.noise_amperes": -1 is below zero, it is a standard deviation
setting "magnetic.volts_per_ampere": missing or 0, which makes every code the same; give the sensitivity
setting "magnetic.bits": 32 is not within 2 to 31
setting "magnetic.volts_per_code": 0 is not above zero
setting "magnetic.gain_error_ratio": -1 leaves no gain, it is a ratio such as 0.01 for 1 %
setting "magnetic.minimum_volts": 2 is not below maximum_volts, 2
setting "speed": -1 is no speed, give 1 for real time, or 0 for as fast as possible`},
		{"segments", with{"rate_hertz": 1, "duty": []any{
			with{"seconds": 1},
			with{"hold_amperes": 1},
			with{"hold_amperes": 1, "to_amperes": 2, "seconds": 0},
			with{"from_amperes": 1, "seconds": 1},
			with{"mean_amperes": 1, "amplitude_amperes": 1, "seconds": 1},
			with{"amplitude_amperes": 1, "period_seconds": 0, "seconds": 1},
			with{"contactor_open": true},
		}}, `setting "duty[0]": it does not say what it is, give hold_amperes, or from_amperes and to_amperes, or amplitude_amperes and period_seconds, or file and column, or levels_file and capacity_ampere_hours
setting "duty[1].seconds": missing, how long does it last?
setting "duty[2].to_amperes": does not go with hold_amperes, which makes the segment a constant; use two segments
setting "duty[2].seconds": 0 s is not within 1e-09 to 3000000000
setting "duty[3].to_amperes": missing, from_amperes makes the segment a ramp, which needs it
setting "duty[4].period_seconds": missing, mean_amperes makes the segment a sine, which needs it
setting "duty[5].period_seconds": 0 s is not within 1e-09 to 3000000000
setting "duty[6].seconds": missing, how long does it last?`},
		{"too long", with{"rate_hertz": 1, "duty": []any{with{"hold_amperes": 1, "seconds": 3e9}, with{"hold_amperes": 1, "seconds": 1}}},
			`setting "duty[1]": the duty is longer than 3000000000 s up to here, shorten it`},
		{"no recording", recording("x.csv", nil), `setting "duty[0].file": x.csv: no such file or directory`},
		{"no column", recording("one.csv", with{"column": "b"}), `setting "duty[0].column": one.csv has no column "b", only ["t" "a"]`},
		{"no time column", recording("one.csv", with{"time_column": "b"}), `setting "duty[0].time_column": one.csv has no column "b", only ["t" "a"]`},
		{"one row", recording("one.csv", nil), `setting "duty[0].file": one.csv: two rows at different times are needed`},
		{"backwards", recording("back.csv", nil), `setting "duty[0].file": back.csv:3: the time runs backwards, a recorded segment needs it in order`},
		{"no number", recording("bad.csv", nil), `setting "duty[0].file": bad.csv:2: column "a": "x" is no number`},
		{"not finite", recording("inf.csv", nil), `setting "duty[0].file": inf.csv:2: the current is not finite`},
		{"no time", recording("notime.csv", nil), `setting "duty[0].file": notime.csv:2: column "t": "" is no time in seconds`},
		{"ragged", recording("ragged.csv", nil), `setting "duty[0].file": ragged.csv:2: 1 cell where the header has 2 columns`},
		{"longer than recorded", recording("short.csv", with{"seconds": 1.5}), `setting "duty[0].seconds": 1.5 s is more than the recording has, 1 s; leave it out for all`},
	} {
		t.Run(c.name, func(t *testing.T) {
			if _, _, err := configure(t, c.settings); err == nil || err.Error() != c.want {
				t.Errorf("error\n%v\nwant\n%s", err, c.want)
			}
		})
	}
}
