package score_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/ampledger/ampledger/daemon/score"
)

// constant is a shunt whose zero is off by exactly five codes of 0.1 A and that has no noise, read a thousand times in 99.9 s of 10 A.
func constant(zeroUncertainty float64, conductor, channel string) string {
	return fmt.Sprintf(`
devices:
  - {name: rig, driver: simulate, with: {seed: 5, rate_hertz: 10, duration_seconds: 100, speed: 0, truth: true, duty: [{hold_amperes: 10, seconds: 100}],
      shunt: {resistance_ohms: 0.0001, gain: 50, bits: 16, volts_per_code: 0.0005, offset_amperes: 0.5}}}
conductors:
  - {name: pack, %s channels: [{name: shunt, device: rig, input: shunt_code, %s shunt: {resistance_ohms: 0.0001, gain: 50}, zero_uncertainty_amperes: %g}]}
state: state
`, conductor, channel, zeroUncertainty)
}

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s: %v, want %v", what, got, want)
	}
}

// TestConstantOffset is reckoned by hand: 0.5 A of offset for 99.9 s are 49.95 C; 0.1 A of stated uncertainty, and the rounding of a quiet
// converter to 0.1 A beside it, are 1.96·99.9·√(0.1² + 0.1²/12) C = 20.4 C, which do not cover it, and 0.3 A are 59.0 C, which do.
func TestConstantOffset(t *testing.T) {
	for _, c := range []struct {
		zero    float64
		covered bool
	}{{0.1, false}, {0.3, true}} {
		s := score.Settings{Config: load(t, constant(c.zero, "", "")), Truth: "rig/true_amperes"}
		r, err := seeded(t, s).Run(t.Context(), 0)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "seconds", r.Seconds, 99.9, 1e-9)
		near(t, "true charge", r.TrueCoulombs, 999, 1e-6)
		got := find(t, r, score.Uncompensated)
		near(t, "error", got.ErrorCoulombs, 49.95, 2e-6)
		near(t, "worst", got.WorstCoulombs, 49.95, 2e-6)
		near(t, "worst at", got.WorstAtSeconds, 99.9, 1e-9)
		u := 99.9 * math.Sqrt(c.zero*c.zero+0.01/12)
		near(t, "uncertainty", got.UncertaintyCoulombs, u, 1e-3*u)
		near(t, "interval", got.HalfWidthCoulombs, 1.96*u, 1e-3*u)
		near(t, "ratio", got.Ratio(), 49.95/u, 1e-2)
		near(t, "mean square", got.MeanSquareRatio, math.Pow(49.95/u, 2), 1e-2)
		near(t, "rms", got.RMSAmperes, 0.5, 1e-12)
		near(t, "rms of offset", got.RMSOffsetAmperes, 0.5, 1e-12)
		wanted := 0
		if c.covered {
			wanted = 100
		}
		if got.Covered() != c.covered || got.CheckpointCount != 100 || got.CoveredCount != wanted || len(got.Trace) != 100 {
			t.Errorf("zero ± %g A: covered %v, %d of %d checkpoints, %d points", c.zero, got.Covered(), got.CoveredCount, got.CheckpointCount, len(got.Trace))
		}
	}
}

// TestSigns turns the sensor round, the conductor's sign and the truth's: the charge is out of the pack as ever.
func TestSigns(t *testing.T) {
	for _, c := range []struct {
		conductor, channel, truth string
		want, offset              float64
	}{
		{"positive: discharge,", "", "discharge", 49.95, 0.5},
		{"positive: charge,", "reversed: true,", "discharge", 49.95, 0.5},
		{"positive: charge,", "", "charge", -49.95, 0.5},
		{"positive: discharge,", "reversed: true,", "charge", -49.95, 0.5},
	} {
		s := score.Settings{Config: load(t, constant(0.1, c.conductor, c.channel)), Truth: "rig/true_amperes", TruthPositive: c.truth}
		r, err := seeded(t, s).Run(t.Context(), 0)
		if err != nil {
			t.Fatal(err)
		}
		got := find(t, r, score.Uncompensated)
		near(t, c.conductor+c.channel+" error", got.ErrorCoulombs, c.want, 2e-6)
		near(t, c.conductor+c.channel+" rms", got.RMSAmperes, 0.5, 1e-12)
		near(t, c.conductor+c.channel+" rms of offset", got.RMSOffsetAmperes, c.offset, 1e-12)
	}
}

// TestChannelAsTruth holds one channel against another of the same conductor, which is then taken out of it.
func TestChannelAsTruth(t *testing.T) {
	c := load(t, constant(0.1, "", ""))
	with := c.Conductors[0].Channels[0]
	with.Name, with.Input, with.Shunt = "meter", "true_amperes", nil
	with.Reported = load(t, reportedMeter).Conductors[0].Channels[0].Reported
	c.Conductors[0].Channels = append(c.Conductors[0].Channels, with)
	p := planned(t, score.Settings{Config: c, Truth: "pack/meter"})
	if got := p.Channels(); len(got) != 1 || got[0] != "shunt" {
		t.Errorf("channels %v are scored", got)
	}
	r, err := p.Run(t.Context(), options(t), nil)
	if err != nil {
		t.Fatal(err)
	}
	got := find(t, r, score.Uncompensated)
	near(t, "error", got.ErrorCoulombs, 49.95, 2e-6)
}

const reportedMeter = `
state: state
devices: [{name: rig, driver: simulate}]
conductors: [{name: pack, channels: [{name: meter, device: rig, input: true_amperes, reported: {}}]}]
`

// TestStudyOfOffsets: with an offset of the size of 0.5 A in each run another. A stated uncertainty of 0.1 A is 0.104 A with the rounding to
// 0.1 A, whose 95 % interval of 0.204 A holds readings that are up to 0.2 A off, so offsets below 0.25 A, half a standard deviation: 38.3 %. One
// of 0.5 A holds up to 0.9 A, offsets below 0.95 A: 94.3 %. Each figure lies within four of its own standard deviations.
func TestStudyOfOffsets(t *testing.T) {
	const seeds = 400
	for zero, want := range map[float64]float64{0.1: 0.383, 0.5: 0.943} {
		of := seeded(t, score.Settings{Config: load(t, constant(zero, "", "")), Truth: "rig/true_amperes"})
		told := 0
		study, err := of.Study(t.Context(), seeds, func(done int) { told = done })
		if err != nil {
			t.Fatal(err)
		}
		row := study.Rows[len(study.Rows)-1]
		if row.Estimator != score.Uncompensated || told != seeds || study.FirstSeed != 5 {
			t.Errorf("zero ± %g A: %+v, %d told, first seed %d", zero, row, told, study.FirstSeed)
		}
		near(t, "covered", float64(row.CoveredCount)/seeds, want, 4*math.Sqrt(want*(1-want)/seeds))
		near(t, "rms", row.RMSCoulombs, 49.95, 4*49.95/math.Sqrt(2*seeds))
		near(t, "mean", row.MeanCoulombs, 0, 4*49.95/math.Sqrt(seeds))
	}
}

// TestWhiteNoiseIsCovered: where nothing but the noise that is stated is there, the interval must hold the truth in 95 % of the runs. The
// seeds are fixed, and so is the outcome.
func TestWhiteNoiseIsCovered(t *testing.T) {
	of := seeded(t, score.Settings{Truth: "rig/true_amperes", Config: load(t, `
state: state
devices:
  - {name: rig, driver: simulate, with: {rate_hertz: 10, duration_seconds: 50, duty: [{hold_amperes: 10, seconds: 50}],
      shunt: {resistance_ohms: 0.0001, gain: 50, bits: 20, volts_per_code: 0.00001, noise_amperes: 0.1}}}
conductors:
  - {name: pack, channels: [{name: shunt, device: rig, input: shunt_code, noise_amperes: 0.1, shunt: {resistance_ohms: 0.0001, gain: 50}}]}
`)})
	const seeds = 400
	study, err := of.Study(t.Context(), seeds, nil)
	if err != nil {
		t.Fatal(err)
	}
	row := study.Rows[len(study.Rows)-1]
	least, most := score.MeanSquareBand(seeds)
	if row.CoverLower > 0.95 || row.CoverUpper < 0.95 || row.MeanSquareRatio < least || row.MeanSquareRatio > most {
		t.Errorf("%+v, wanted a mean square within %g to %g", row, least, most)
	}
	near(t, "rms", row.RMSCoulombs, 0.1*0.1*math.Sqrt(499.5), 0.1*row.RMSCoulombs)
}

// BenchmarkStudy takes an hour at 10 Hz with two channels through biasfilter, its oracle, fixedzero and none.
func BenchmarkStudy(b *testing.B) {
	text := strings.Replace(rough, "duration_seconds: 120", "duration_seconds: 3600", 1)
	text = strings.Replace(text, "rate_hertz: 20", "rate_hertz: 10", 1)
	p, err := score.New(score.Settings{Config: load(b, text), Truth: "rig/true_amperes"})
	if err != nil {
		b.Fatal(err)
	}
	of, err := p.Seeded(b.Context())
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, err := of.Study(b.Context(), 4, nil); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.N)*4*36000/b.Elapsed().Seconds(), "scans/s")
}
