package score_test

import (
	"flag"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/ampledger/ampledger/daemon/score"
)

var full = flag.Bool("full", false, "run the Monte Carlo over all days")

// The sensors of the scenarios, and what a data sheet says of them to the filter.
const (
	magneticSensor = `{volts_per_ampere: 0.0033, zero_volts: 2.5, bits: 16, signed: false, volts_per_code: 0.0000763, noise_amperes: 0.4, offset_amperes: 1.5,
        offset_amperes_per_kelvin: 0.03, walk_amperes_per_root_hour: 0.1, gain_error_ratio: 0.003, hysteresis: {model: play, operators: [%s]}}`
	magneticChannel = `{name: magnetic, device: rig, input: magnetic_code, temperature: {input: magnetic_celsius}, noise_amperes: 0.4, zero_uncertainty_amperes: 1.5,
       gain_uncertainty_ratio: 0.003, magnetic: {volts_per_ampere: 0.0033, zero_volts: 2.5, rated_amperes: 500}}`
	magneticSheet = `magnetic: {zero_walk_amperes_per_root_hour: 0.1, zero_drift_amperes_per_kelvin: 0.03, reference_celsius: 25, hysteresis_amperes: 0.5}`
	shuntSensor   = `shunt: {resistance_ohms: 0.0001, gain: 50, bits: 16, volts_per_code: 0.0001, noise_amperes: 0.06, offset_amperes: 0.05,
        walk_amperes_per_root_hour: 0.005, gain_error_ratio: 0.001}`
	shuntChannel = `{name: shunt, device: rig, input: shunt_code, noise_amperes: 0.06, zero_uncertainty_amperes: 0.05, gain_uncertainty_ratio: 0.001,
       shunt: {resistance_ohms: 0.0001, gain: 50, rated_amperes: 500}}`
	shuntSheet = `shunt: {zero_walk_amperes_per_root_hour: 0.005, zero_drift_amperes_per_kelvin: 0}`
)

// tally is what many runs gave for one channel and one way to find the offset.
type tally struct {
	runs, covered   int
	square, squares float64 // sums of squared errors and of squared ratios
	variance        float64 // sum of the variances stated
}

func (t *tally) add(r *score.Row, seeds int) {
	t.runs += seeds
	t.covered += r.CoveredCount
	t.square += r.RMSCoulombs * r.RMSCoulombs * float64(seeds)
	t.squares += r.MeanSquareRatio * float64(seeds)
	t.variance += r.RMSUncertaintyCoulombs * r.RMSUncertaintyCoulombs * float64(seeds)
}

func (t *tally) rms() float64  { return math.Sqrt(t.square / float64(t.runs)) }
func (t *tally) nees() float64 { return t.squares / float64(t.runs) }

func (t *tally) uncertainty() float64 { return math.Sqrt(t.variance / float64(t.runs)) }

func (t *tally) coverage() float64 { return float64(t.covered) / float64(t.runs) }

func (t *tally) String() string {
	return fmt.Sprintf("%d of %d covered (%.1f %%), rms %.0f C, u %.0f C, NEES %.3f", t.covered, t.runs, 100*t.coverage(), t.rms(), t.uncertainty(), t.nees())
}

// tried runs some scenarios with some seeds each and gives the tallies by "channel estimator".
func tried(t *testing.T, s scenario, scenarios, seeds int) map[string]*tally {
	t.Helper()
	all, duties := map[string]*tally{}, profiles(t)
	for k := range scenarios {
		study, err := seeded(t, score.Settings{Config: s.config(t, duties, k), Truth: "rig/true_amperes"}).Study(t.Context(), seeds, nil)
		if err != nil {
			t.Fatal(err)
		}
		for i := range study.Rows {
			r := &study.Rows[i]
			key := r.Channel + " " + r.Estimator
			if all[key] == nil {
				all[key] = &tally{}
			}
			all[key].add(r, seeds)
		}
	}
	return all
}

// aDay is how long a pack is followed, in days.
var aDay = map[bool]float64{false: 1, true: 1.0 / 8}[raced]

// magneticAlone is a conductor with a magnetic channel, with some of its settings put otherwise.
func magneticAlone(days float64, otherwise ...string) scenario {
	other := strings.NewReplacer(otherwise...)
	return scenario{
		days: days, least: 0.04, most: 0.12, magnetic: other.Replace(magneticSensor), channels: []string{magneticChannel},
		with: "channels: {" + other.Replace(magneticSheet) + "}",
	}
}

// extent is how many packs with how many sensors each are tried for a day: 400 days, or a few.
func extent(few int) (packs, sensors int) {
	if *full {
		return 40, 10
	}
	return few, 2
}

// check wants the coverage within limits, and the rms error within a factor of the oracle's and a part of the first rest's. For fewer than 400
// runs the limits are wider by what chance does to so few in 99 % of all cases, and a third more of rms is let pass.
func check(t *testing.T, channel string, all map[string]*tally, least, most, oracle, part float64) {
	t.Helper()
	own, told, first := all[channel+" biasfilter"], all[channel+" "+score.Oracle], all[channel+" "+score.FirstRest]
	t.Logf("biasfilter %v; oracle %v; first rest %v", own, told, first)
	if !*full {
		chance := 2.6 * math.Sqrt(0.95*0.05/float64(own.runs))
		least, most, oracle, part = least-chance, most+chance, oracle*4/3, part*4/3
	}
	if c := own.coverage(); c < least || c > most {
		t.Errorf("%.1f %% covered, want %.1f %% to %.1f %%", 100*c, 100*least, 100*most)
	}
	if own.rms() > oracle*told.rms() {
		t.Errorf("rms is %.3f × the oracle's, want %.2f at most", own.rms()/told.rms(), oracle)
	}
	if own.rms() > part*first.rms() && !raced { // in an eighth of a day the first rest's offset does not get far
		t.Errorf("rms is %.3f × the first rest's, want %.3f at most", own.rms()/first.rms(), part)
	}
}

// Days of stationary duty with 4 to 12 % of the time at rest, an offset that walks and drifts with the temperature, a gain error, and a hysteresis
// of play operators that are not the filter's.
func TestStationaryDuty(t *testing.T) {
	packs, sensors := extent(10)
	check(t, "magnetic", tried(t, magneticAlone(aDay), packs, sensors), 0.925, 0.975, 1.15, 1.0/3)
}

// The same with hysteresis as Jiles and Atherton have it, which no play operators make up exactly, and a thermometer that lags behind a core that
// lags behind the air.
func TestJilesAthertonDuty(t *testing.T) {
	packs, sensors := extent(3)
	s := magneticAlone(aDay, "hysteresis: {model: play, operators: [%s]}",
		"body: {lag_seconds: 900}, thermometer: {lag_seconds: 600, noise_kelvin: 0.1}, hysteresis: {model: jiles-atherton, full_scale_amperes: 500, remanence_amperes: 0.5}")
	check(t, "magnetic", tried(t, s, packs, sensors), 0.9, 1, math.Inf(1), 1/2.5)
}

// A shunt, whose offset hardly matters beside its gain.
func TestShuntDuty(t *testing.T) {
	packs, sensors := extent(2)
	s := scenario{days: 1, least: 0.04, most: 0.12, shunt: shuntSensor, channels: []string{shuntChannel}, with: "channels: {" + shuntSheet + "}"}
	check(t, "shunt", tried(t, s, packs, sensors), 0.925, 0.975, 1.15, 1/1.5)
}

// A day without a rest: nothing is learnt, the interval is that of what was known beforehand and of the walk, and it covers.
func TestDayWithoutARest(t *testing.T) {
	packs, sensors := extent(2)
	s := magneticAlone(1)
	s.least, s.most = 0, 0
	all := tried(t, s, packs, sensors)
	own := all["magnetic biasfilter"]
	t.Log(own)
	chance := 2.6 * math.Sqrt(0.95*0.05/float64(own.runs))
	if c := own.coverage(); c < 0.95-chance || c > 0.95+chance {
		t.Errorf("%.1f %% covered, want %.1f %% to %.1f %%", 100*c, 95-100*chance, 95+100*chance)
	}
	if u := own.uncertainty(); u < 1.5*86400 || u > 1.6*86400 {
		t.Errorf("u = %.0f C, want that of 1.5 A, of a walk of 0.1 A/√h over a day, which is 0.28 A, and little more", u)
	}
}

// 0.3 A flow in each rest, and 0.3 A are declared.
func TestStandingLoad(t *testing.T) {
	packs, sensors := extent(2)
	s := magneticAlone(1)
	s.standing, s.with = 0.3, "residual_amperes: 0.3, "+s.with
	own := tried(t, s, packs, sensors)["magnetic biasfilter"]
	t.Log(own)
	if least := 0.95 - 2.6*math.Sqrt(0.95*0.05/float64(own.runs)); own.coverage() < least {
		t.Errorf("%.1f %% covered, want %.1f %% at least", 100*own.coverage(), 100*least)
	}
}
