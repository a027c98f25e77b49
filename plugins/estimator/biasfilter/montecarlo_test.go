package biasfilter

import (
	"flag"
	"fmt"
	"math"
	"sync"
	"testing"

	"github.com/ampledger/ampledger/plugins/estimator/fixedzero"
	"github.com/ampledger/ampledger/plugins/plugin"
)

var full = flag.Bool("full", false, "run the Monte Carlo over all seeds and days")

// sensor is a magnetic sensor such as data sheets describe; the filter is told these figures.
var sensor = truth{
	zero: 0.5, walk: 0.02 / 60, drift: 0.01, gain: 0.002, hysteresis: 0.2, noise: 0.2, floor: 0.01,
	widths: halfWidths(fullScale/2, hysteresisNoises*0.2, defaultOperators),
}

func (of truth) settings() with {
	return with{
		"residual_amperes": of.residual,
		"channels": with{"main": with{
			"zero_error_amperes": of.zero, "zero_walk_amperes_per_root_hour": of.walk * 60, "zero_drift_amperes_per_kelvin": of.drift,
			"hysteresis_amperes": of.hysteresis, "gain_error_ratio": of.gain, "noise_amperes": of.noise, "floor_amperes": of.floor,
		}},
	}
}

// outcome is a run's error of the correction, as it is and in its own σ, beside that of other ways.
type outcome struct{ error, sigma, oracle, fixed float64 }

func run(t testing.TB, seed uint64, of truth, stated with, adapt func(*Estimator), days float64) outcome {
	e := started(t, stated, mainChannel())
	if adapt != nil {
		adapt(e)
	}
	widths := e.PlayHalfWidths()["main"]
	told := of
	told.drift, told.gain, told.hysteresis = 0, 0, 0
	oracle := started(t, told.settings(), mainChannel())
	s := newSimulation(seed, of, widths)
	c := &plugin.ChannelSummary{Name: "main", ReadingCount: readings, IntegralSeconds: summarySeconds, VarianceSquareAmperes: of.noise * of.noise}
	toOracle := &plugin.Summary{Device: "daq", Channels: []*plugin.ChannelSummary{c}}
	zero := firstZero{}
	for s.time < days*day {
		summary := s.next()
		if err := e.update(summary); err != nil {
			t.Error(err)
		}
		s.tell(toOracle, c)
		if err := oracle.update(toOracle); err != nil {
			t.Error(err)
		}
		zero.observe(t, summary)
	}
	at := e.channels[0].at.charge
	out := outcome{
		error: e.filter.x[at] - s.excess, oracle: oracle.filter.x[oracle.channels[0].at.charge] + s.known - s.excess,
		fixed: zero.correction(s.time) - s.excess,
	}
	out.sigma = math.Sqrt(e.filter.p[at*e.filter.n+at])
	return out
}

// firstZero runs fixedzero until it has its zero, which it then holds.
type firstZero struct {
	estimator *fixedzero.Estimator
	amperes   float64
	rested    bool
	held      bool
}

func (z *firstZero) observe(t testing.TB, s *plugin.Summary) {
	if z.held {
		return
	}
	if z.estimator == nil {
		z.estimator = fixedzero.New()
		if _, err := z.estimator.Configure(t.Context(), plugin.Conductor{Name: "pack", Channels: []*plugin.Channel{mainChannel()}}, plugin.Settings{}); err != nil {
			t.Error(err)
		}
	}
	estimates, err := z.estimator.Observe(s)
	if err != nil {
		t.Error(err)
		return
	}
	z.amperes = estimates[0].GetOffsetAmperes()
	rests := s.GetRest() == restCertain
	z.held, z.rested = z.rested && !rests, rests
}

func (z *firstZero) correction(seconds float64) float64 { return z.amperes * seconds }

// summaryOf many runs: coverage of the 95 % interval, rms errors and normalised error squared.
type result struct {
	runs, covered               int
	rms, oracle, fixed, squared float64
}

func (r result) String() string {
	return fmt.Sprintf("%d of %d covered (%.1f %%), rms %.0f C = %.3f × oracle = %.3f × first zero, NEES %.3f",
		r.covered, r.runs, 100*float64(r.covered)/float64(r.runs), r.rms, r.rms/r.oracle, r.rms/r.fixed, r.squared)
}

func monteCarlo(t testing.TB, of truth, stated with, adapt func(*Estimator), seeds int, days float64) (r result) {
	outcomes := make([]outcome, seeds)
	var wait sync.WaitGroup
	const workers = 2
	for w := range workers {
		wait.Go(func() {
			for k := w; k < seeds; k += workers {
				outcomes[k] = run(t, uint64(k), of, stated, adapt, days)
			}
		})
	}
	wait.Wait()
	n := float64(seeds)
	r.runs = seeds
	for _, o := range outcomes {
		if math.Abs(o.error) <= 1.959964*o.sigma {
			r.covered++
		}
		r.rms += o.error * o.error / n
		r.oracle += o.oracle * o.oracle / n
		r.fixed += o.fixed * o.fixed / n
		r.squared += o.error * o.error / o.sigma / o.sigma / n
	}
	r.rms, r.oracle, r.fixed = math.Sqrt(r.rms), math.Sqrt(r.oracle), math.Sqrt(r.fixed)
	return r
}

// band gives how many of n runs may be covered: beyond it, either way, an honest 95 % interval comes once in a thousand times.
func band(n int) (least, most float64) {
	const z = 3.29
	mean, sigma := 0.95*float64(n), math.Sqrt(0.95*0.05*float64(n))
	return mean - z*sigma, min(float64(n), mean+z*sigma)
}

// check wants the coverage between 92.5 % and a limit, and the rms error within a factor of the oracle's; in the short run, in which h and k,
// which the oracle has not to learn, are still being learnt, only no less coverage than chance allows.
func (r result) check(t *testing.T, most, oracle float64) {
	t.Helper()
	t.Log(r)
	least, _ := band(r.runs)
	if *full {
		least, most = 0.925*float64(r.runs), most*float64(r.runs)
	} else {
		most, oracle = float64(r.runs), math.Inf(1)
	}
	if c := float64(r.covered); c < least || c > most {
		t.Errorf("%d of %d runs covered, want %.1f to %.1f", r.covered, r.runs, least, most)
	}
	if r.rms > oracle*r.oracle {
		t.Errorf("rms %.0f C is %.3f × the oracle's, want %.2f at most", r.rms, r.rms/r.oracle, oracle)
	}
	if r.rms > r.fixed/3 {
		t.Errorf("rms %.0f C is %.3f × that of the first rest's zero, want a third at most", r.rms, r.rms/r.fixed)
	}
}

// extent is how many seeds and days a Monte Carlo has. In each, the conductor is under a stationary duty, 4 to 12 % of the time at rest, the
// temperature swings by 8 K and more, and the zero walks.
func extent() (seeds int, days float64) {
	if *full {
		return 400, 20
	}
	return 20, 1
}

// The hysteresis is made of the operators the filter has, which is told so. The oracle is told k, h and g themselves.
func TestCoverage(t *testing.T) {
	seeds, days := extent()
	exactly := func(e *Estimator) { e.channels[0].misfit = 0 }
	monteCarlo(t, sensor, sensor.settings(), exactly, seeds, days).check(t, 0.975, 1.15)
}

// The hysteresis is made of other operators than the filter's, drawn for each seed between 5 A and 200 A.
func TestCoverageOfForeignHysteresis(t *testing.T) {
	seeds, days := extent()
	counts := []int{3}
	if *full {
		counts = []int{1, 2, 3, 8}
	}
	for _, operators := range counts {
		of := sensor
		of.foreign, of.widths = true, make([]float64, operators)
		monteCarlo(t, of, of.settings(), nil, seeds, days).check(t, 0.99, 1.4)
	}
}

// 0.05 A may flow at rest, half of the variance the same each time. The oracle does not know the current either.
func TestCoverageOfResidualCurrent(t *testing.T) {
	seeds, days := extent()
	of := sensor
	of.residual = 0.05
	monteCarlo(t, of, of.settings(), nil, seeds, days).check(t, 0.975, 1.15)
}

// A day without a rest: the interval is that of what is known beforehand, and covers.
func TestCoverageWithoutARest(t *testing.T) {
	const seeds = 100
	covered := 0
	for seed := range uint64(seeds) {
		e := started(t, sensor.settings(), mainChannel())
		s := newSimulation(seed, sensor, e.PlayHalfWidths()["main"])
		s.always = true
		for s.time < day/4 {
			if err := e.update(s.next()); err != nil {
				t.Fatal(err)
			}
		}
		c := e.channels[0]
		if math.Abs(e.filter.x[c.at.charge]-s.excess) <= 1.959964*math.Sqrt(e.filter.p[c.at.charge*e.filter.n+c.at.charge]) {
			covered++
		}
	}
	if least, most := band(seeds); float64(covered) < least || float64(covered) > most {
		t.Errorf("%d of %d runs covered, want %.1f to %.1f", covered, seeds, least, most)
	}
}
