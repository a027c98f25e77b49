package score_test

import (
	"strings"
	"testing"

	"github.com/ampledger/ampledger/daemon/config"
	"github.com/ampledger/ampledger/daemon/score"
)

// TestRefusals names what cannot be scored, before anything is run or by the run.
func TestRefusals(t *testing.T) {
	of := constant(0.1, "", "")
	second := strings.Replace(of, "conductors:", `conductors:
  - {name: string, channels: [{name: shunt, device: rig, input: shunt_code, shunt: {resistance_ohms: 0.0001}}]}`, 1)
	replayed := strings.Replace(strings.Replace(of, "driver: simulate", "driver: replay", 1), "with: {", "with: {file: a.csv, ", 1)
	for _, c := range []struct {
		text, truth, conductor, want string
	}{
		{of, "true_amperes", "", `"true_amperes" names no truth: give DEVICE/INPUT or CONDUCTOR/CHANNEL`},
		{of, "rag/true_amperes", "", `truth "rag/true_amperes": there is no device "rag", nor a conductor of that name with a channel "true_amperes"; there are device rig, channel pack/shunt`},
		{of, "pack/shunt", "", "there is no conductor beside the truth's"},
		{of, "rig/true_amperes", "pick", `there is no conductor "pick"; there are pack`},
		{second, "rig/true_amperes", "", "the truth is that of one conductor, and there are several, string, pack: name it"},
		{replayed, "rig/true_amperes", "", "device rig: what is read cannot be drawn anew; seeds need devices of the driver simulate"},
		{strings.Replace(of, "duration_seconds: 100, ", "", 1), "rig/true_amperes", "", "device rig: its source has no end, so it cannot be scored: set duration_seconds"},
		{of, "rig/true_volts", "", "truth rig/true_volts: device rig has no input \"true_volts\"; it has shunt_code, shunt_celsius, true_amperes, contactor_open, shunt_true_offset_amperes"},
		{strings.Replace(of, "rate_hertz: 10", "rate_hertz: -10", 1), "rig/true_amperes", "", `device rig: setting "rate_hertz": -10 is not within 0.001 to 1e+06`},
	} {
		p, err := score.New(score.Settings{Config: load(t, c.text), Truth: c.truth, Conductor: c.conductor})
		if err == nil {
			_, err = p.Seeded(t.Context())
		}
		if err == nil || err.Error() != c.want {
			t.Errorf("%s:\n%v, want\n%s", c.truth, err, c.want)
		}
	}
}

func TestForeignEstimatorIsRefused(t *testing.T) {
	c := load(t, constant(0.1, "", ""))
	c.Conductors[0].Estimator = &config.Estimator{Plugin: config.Plugin{Path: "./mine"}}
	_, err := planned(t, score.Settings{Config: c, Truth: "rig/true_amperes"}).Seeded(t.Context())
	want := "conductor pack: estimator ./mine is a process of its own, and seeds are run in one process: only [biasfilter fixedzero] can be"
	if err == nil || err.Error() != want {
		t.Errorf("%v, want %s", err, want)
	}
}

// TestRunRefusals are those that the plugin processes tell of.
func TestRunRefusals(t *testing.T) {
	of := constant(0.1, "", "")
	for _, c := range []struct{ text, truth, want string }{
		{strings.Replace(of, "duration_seconds: 100, ", "", 1), "rig/true_amperes", "device rig: its source has no end, so it cannot be scored"},
		{of, "rig/shunt_celsius", `device rig: conductor truth, channel truth: input "shunt_celsius" gives "Cel", a reported channel wants amperes`},
	} {
		r, err := planned(t, score.Settings{Config: load(t, c.text), Truth: c.truth}).Run(t.Context(), options(t), nil)
		if err == nil || err.Error() != c.want {
			t.Errorf("%v, %v, want %s", r, err, c.want)
		}
	}
}
