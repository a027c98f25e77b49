package score_test

import (
	"context"
	"errors"
	"reflect"
	"runtime"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"github.com/ampledger/ampledger/daemon/score"
)

// rough is a rig with everything: two channels, hysteresis, walks, a temperature, and all that can happen to a scan, a clock set back among it.
const rough = `
state: state
devices:
  - name: rig
    driver: simulate
    with:
      seed: 7
      rate_hertz: 20
      duration_seconds: 120
      speed: 0
      frame_scans: 333
      truth: true
      repeat: true
      temperature: {mean_celsius: 25, swing_kelvin: 8, period_seconds: 100}
      duty: [{seconds: 12, contactor_open: true}, {seconds: 23, mean_amperes: 20, amplitude_amperes: 300, period_seconds: 10}]
      shunt: {resistance_ohms: 0.0001, gain: 50, bits: 16, volts_per_code: 0.0001, noise_amperes: 0.06, offset_amperes: 0.03, walk_amperes_per_root_hour: 0.05}
      magnetic: {volts_per_ampere: 0.0033, zero_volts: 2.5, bits: 16, signed: false, volts_per_code: 0.0000763, noise_amperes: 0.4, offset_amperes: 1.1,
        offset_amperes_per_kelvin: 0.03, walk_amperes_per_root_hour: 0.1, hysteresis: {model: play, remanence_amperes: 0.5, full_scale_amperes: 500}}
      faults:
        - {kind: dropout, input: shunt_code, from_seconds: 30, seconds: 0.5, every_seconds: 9}
        - {kind: scans_lost, from_seconds: 41, seconds: 2}
        - {kind: time_repeated, from_seconds: 51, seconds: 0.3, every_seconds: 10}
        - {kind: time_repeated, from_seconds: 80, seconds: 7}
        - {kind: spike, input: magnetic_code, amperes: 900, rate_per_hour: 200}
conductors:
  - name: pack
    contactor: {device: rig, input: contactor_open}
    channels:
      - {name: shunt, device: rig, input: shunt_code, shunt: {resistance_ohms: 0.0001, gain: 50}, noise_amperes: 0.06, zero_uncertainty_amperes: 0.05}
      - {name: magnetic, device: rig, input: magnetic_code, temperature: {input: magnetic_celsius}, noise_amperes: 0.4, zero_uncertainty_amperes: 1.5,
         magnetic: {volts_per_ampere: 0.0033, zero_volts: 2.5, rated_amperes: 500}}
    estimator: {plugin: biasfilter, with: {channels: {magnetic: {hysteresis_amperes: 0.5}}}}
`

func settings(t *testing.T) score.Settings {
	t.Helper()
	return score.Settings{Config: load(t, rough), Truth: "rig/true_amperes"}
}

// TestProcessesGiveTheSameBits runs the same as plugin processes and in this process. The oracle is only there in the latter.
func TestProcessesGiveTheSameBits(t *testing.T) {
	told := uint64(0)
	want, err := planned(t, settings(t)).Run(t.Context(), options(t), func(readings uint64) { told = readings })
	if err != nil {
		t.Fatal(err)
	}
	got, err := seeded(t, settings(t)).Run(t.Context(), 0)
	if err != nil {
		t.Fatal(err)
	}
	if len(got.Scores) != 8 || got.Scores[2].Estimator != score.Oracle || want.Scores[0].CheckpointCount < 50 || told < 2000 {
		t.Fatalf("%d scores, the third by %s, %d checkpoints, %d readings told", len(got.Scores), got.Scores[2].Estimator, want.Scores[0].CheckpointCount, told)
	}
	got.Scores = slices.Delete(got.Scores, 2, 4)
	if diff := cmp.Diff(want, got, cmpopts.EquateNaNs()); diff != "" {
		t.Errorf("processes (-) and one process (+) differ:\n%.3000s", diff)
	}
}

// TestProcessorsChangeNothing runs a study on one processor and on four.
func TestProcessorsChangeNothing(t *testing.T) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(0))
	var all []*score.Study
	for _, processors := range []int{1, 4} {
		runtime.GOMAXPROCS(processors)
		study, err := seeded(t, settings(t)).Study(t.Context(), 6, nil)
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, study)
	}
	if !reflect.DeepEqual(all[0], all[1]) {
		t.Errorf("one processor: %+v\nfour: %+v", all[0], all[1])
	}
	if a, b := all[0].Rows[0], all[0].Rows[0].RMSUncertaintyCoulombs; a.WorstCoulombs == a.MeanCoulombs || b == 0 {
		t.Errorf("all seeds are alike: %+v", a)
	}
}

func TestStudyEndsWithItsContext(t *testing.T) {
	of := seeded(t, settings(t))
	ctx, cancel := context.WithCancel(t.Context())
	_, err := of.Study(ctx, 1000, func(int) { cancel() })
	if !errors.Is(err, context.Canceled) {
		t.Errorf("ended with %v", err)
	}
}
