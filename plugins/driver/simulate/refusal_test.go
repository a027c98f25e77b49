package simulate

import (
	"maps"
	"os"
	"testing"
)

// refusal is settings and the whole error that they must give.
type refusal struct {
	name     string
	settings with
	want     string
}

func mustRefuse(t *testing.T, all []refusal) {
	t.Helper()
	for _, c := range all {
		t.Run(c.name, func(t *testing.T) {
			if _, _, err := configure(t, c.settings); err == nil || err.Error() != c.want {
				t.Errorf("error\n%v\nwant\n%s", err, c.want)
			}
		})
	}
}

func TestLevelsFaults(t *testing.T) {
	t.Chdir(t.TempDir())
	for name, text := range map[string]string{
		"one.csv": "t,a\n0,1\n", "inflevel.csv": "time_s,level\n0,inf\n",
		"levels.csv": "profile,time_s,level\na,0,1\na,1,2\nb,0,1\nc,0,1\nc,1,x\n",
	} {
		if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	levels := func(file string, more with) with {
		settings := with{"levels_file": file, "capacity_ampere_hours": 1}
		maps.Copy(settings, more)
		return with{"rate_hertz": 1, "duty": []any{settings}}
	}
	mustRefuse(t, []refusal{
		{"no levels", levels("one.csv", nil), `setting "duty[0].levels_file": one.csv has no column "time_s", only ["t" "a"]`},
		{"no profile of that name", levels("levels.csv", with{"profile": "z"}), `setting "duty[0].profile": levels.csv has no profile "z"`},
		{"one level", levels("levels.csv", with{"profile": "b"}), `setting "duty[0].levels_file": levels.csv: two rows at different times are needed`},
		{"several profiles", levels("levels.csv", nil), `setting "duty[0].levels_file": levels.csv:4: the time does not rise, levels need it to; if there are several profiles, name one`},
		{"no level", levels("levels.csv", with{"profile": "c"}), `setting "duty[0].levels_file": levels.csv:6: column "level": "x" is no number`},
		{"level not finite", levels("inflevel.csv", nil), `setting "duty[0].levels_file": inflevel.csv:2: the level is not finite`},
		{"no capacity", levels("levels.csv", with{"capacity_ampere_hours": 0, "profile": "a"}), `setting "duty[0].capacity_ampere_hours": 0 is not above zero`},
		{"too many levels", levels("levels.csv", with{"profile": "a", "seconds": 1e7}), `setting "duty[0].seconds": the levels would be run through to more than 4000000 intervals, repeat the duty instead`},
		{"standing while closed", with{"rate_hertz": 1, "duty": []any{with{"hold_amperes": 1, "seconds": 1, "standing_amperes": 0.3}}},
			`setting "duty[0].standing_amperes": flows while the contactor is open, which it is not in this segment; add contactor_open`},
	})
}

func TestErrorsFaults(t *testing.T) {
	mustRefuse(t, []refusal{
		{"errors of sensors", with{"rate_hertz": 1,
			"shunt": with{"resistance_ohms": 1, "bits": 8, "volts_per_code": 1, "walk_amperes_per_root_hour": -1, "thermal_emf": with{"lag_seconds": -1},
				"body": with{"kelvin_per_watt": -1}, "thermometer": with{"noise_kelvin": -1}},
			"magnetic": with{"volts_per_ampere": 1, "bits": 8, "volts_per_code": 1, "body": with{"lag_seconds": -1},
				"supply": with{"nominal_volts": 0, "drift_seconds": 0, "ripple_volts": -1}}},
			`setting "shunt.walk_amperes_per_root_hour": -1 is below zero
setting "shunt.thermal_emf.lag_seconds": -1 is below zero
setting "shunt.body.kelvin_per_watt": -1 is below zero
setting "shunt.thermometer.noise_kelvin": -1 is below zero
setting "magnetic.body.lag_seconds": -1 is below zero
setting "magnetic.supply.nominal_volts": 0 is not above zero
setting "magnetic.supply.drift_seconds": 0 is not above zero
setting "magnetic.supply.ripple_volts": -1 is below zero`},
	})
}

func TestHysteresisFaults(t *testing.T) {
	hysteresis := func(of with) with {
		return with{"rate_hertz": 1, "magnetic": with{"volts_per_ampere": 1, "bits": 8, "volts_per_code": 1, "hysteresis": of}}
	}
	mustRefuse(t, []refusal{
		{"no model", hysteresis(with{"model": "preisach"}), `setting "magnetic.hysteresis.model": "preisach" is none, give play or jiles-atherton`},
		{"play without figures", hysteresis(with{"model": "play", "alpha": 1}), `setting "magnetic.hysteresis.alpha": is a figure of jiles-atherton, the model is play
setting "magnetic.hysteresis": give operators, or remanence_amperes and full_scale_amperes`},
		{"play with both", hysteresis(with{"model": "play", "remanence_amperes": 1, "operators": []any{with{"weight_amperes": 1}}}),
			`setting "magnetic.hysteresis.remanence_amperes": does not go with operators, whose weights say it
setting "magnetic.hysteresis.operators[0].half_width_amperes": 0 is not above zero`},
		{"material without figures", hysteresis(with{"model": "jiles-atherton", "operators": []any{with{}}, "k_amperes_per_meter": 1, "coercive_share": 0.1, "c": 1, "path_meters": -1}),
			`setting "magnetic.hysteresis.operators": are of play, the model is jiles-atherton
setting "magnetic.hysteresis": give one of remanence_amperes and scale_meters
setting "magnetic.hysteresis.coercive_share": does not go with k_amperes_per_meter, which says it
setting "magnetic.hysteresis.full_scale_amperes": 0 is not above zero
setting "magnetic.hysteresis.path_meters": -1 is not above zero
setting "magnetic.hysteresis.c": 1 is not within 0 and below 1`},
		{"material that jumps", hysteresis(with{"model": "jiles-atherton", "full_scale_amperes": 100, "remanence_amperes": 1, "ms_amperes_per_meter": 1000, "a_amperes_per_meter": 100, "alpha": 0.3}),
			`setting "magnetic.hysteresis.alpha": 0.3 is not within 0 and below 3·a/Ms, 0.3; from there on the magnetisation would jump`},
		{"too coercive", hysteresis(with{"model": "jiles-atherton", "full_scale_amperes": 100, "remanence_amperes": 1, "coercive_share": 0.9}),
			`setting "magnetic.hysteresis.coercive_share": no pinning gives this coercive share, the material is not saturated by so far at full scale`},
	})
}

func TestFaultsFaults(t *testing.T) {
	mustRefuse(t, []refusal{
		{"faults", with{"rate_hertz": 1, "faults": []any{
			with{"kind": "smoke"},
			with{"kind": "dropout", "input": "shunt_code"},
			with{"kind": "spike", "input": "contactor_open", "rail": "left"},
			with{"kind": "scans_lost", "input": "contactor_open", "from_seconds": -1, "seconds": 2, "every_seconds": 1, "rate_per_hour": 0},
		}}, `setting "faults[0].kind": "smoke" is none, give dropout, stuck, open_sense_lead, missing_supply, spike, false_contactor, scans_lost, time_repeated
setting "faults[1].input": "shunt_code" is none that this device has and dropout can concern
setting "faults[2].input": "contactor_open" is none that this device has and spike can concern
setting "faults[2].rail": is a figure of open_sense_lead
setting "faults[2].amperes": missing, how high is the spike?
setting "faults[2].rail": "left" is none, give upper or lower
setting "faults[3].input": scans_lost concerns no one input, leave it out
setting "faults[3].from_seconds": -1 s is not within 1e-09 to 3000000000
setting "faults[3].every_seconds": 1 s is less than the fault lasts
setting "faults[3].rate_per_hour": 0 is not above zero
setting "faults[3].every_seconds": does not go with rate_per_hour, which makes the fault come at random`},
	})
}
