package score_test

import (
	"fmt"
	"testing"

	"github.com/ampledger/ampledger/daemon/score"
)

// course is half an hour's rests and loads of a magnetic channel, with what is wrong in its course, and how its rests are declared.
func course(t *testing.T, faults, duty string) *score.Run {
	t.Helper()
	r, err := seeded(t, score.Settings{Truth: "rig/true_amperes", Config: load(t, fmt.Sprintf(`
state: state
devices:
  - name: rig
    driver: simulate
    with:
      {seed: 3, rate_hertz: 2, duration_seconds: 14400, truth: true, duty: [%s], faults: [%s],
       magnetic: {volts_per_ampere: 0.0033, zero_volts: 2.5, bits: 16, signed: false, volts_per_code: 0.0000763, noise_amperes: 0.4, offset_amperes: 1.2,
         walk_amperes_per_root_hour: 0.05, hysteresis: {model: play, remanence_amperes: 0.3, full_scale_amperes: 500}}}
conductors:
  - name: pack
    contactor: {device: rig, input: contactor_open}
    channels: [%s]
    estimator: {plugin: biasfilter, with: {channels: {magnetic: {zero_walk_amperes_per_root_hour: 0.05, hysteresis_amperes: 0.3}}}}
`, duty, faults, magneticChannel))}).Run(t.Context(), 0)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// The contactor's input says open for half an hour of 20 A: it is told, nothing is learnt, and the charge is what it is without.
func TestFalseRestEndToEnd(t *testing.T) {
	const duty = "{contactor_open: true, seconds: 600}, {hold_amperes: 60, seconds: 3000}, {hold_amperes: 20, seconds: 7200}, {contactor_open: true, seconds: 600}, {hold_amperes: -50, seconds: 3000}"
	calm, lied := course(t, "", duty), course(t, "{kind: false_contactor, from_seconds: 5000, seconds: 1800}", duty)
	was, is := find(t, calm, "biasfilter"), find(t, lied, "biasfilter")
	if len(calm.Notes) != 0 {
		t.Errorf("notes of true rests: %+v", calm.Notes)
	}
	told := 0
	for _, n := range lied.Notes {
		if n.Estimator == "biasfilter" && n.Channel == "magnetic" && n.Subject == "rest rejected" {
			told += n.Count
		}
	}
	if told != 1 {
		t.Errorf("told %d times, want once: %+v", told, lied.Notes)
	}
	if !is.Covered() || is.CoveredCount < is.CheckpointCount*9/10 {
		t.Errorf("error %.1f C ± %.1f C, %d of %d checkpoints covered", is.ErrorCoulombs, is.UncertaintyCoulombs, is.CoveredCount, is.CheckpointCount)
	}
	near(t, "error", is.ErrorCoulombs, was.ErrorCoulombs, 1e-6)
	near(t, "uncertainty", is.UncertaintyCoulombs, was.UncertaintyCoulombs, 1e-6*was.UncertaintyCoulombs)
}
