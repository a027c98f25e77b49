package coulombsoc

import (
	"math"
	"testing"
)

// formula is a case with what has to come out, the propagation of uncertainty written out by hand (JCGM 100:2008, 5.1.2 and 5.2.2; 4.3.7 for
// the gaps).
type formula struct {
	name     string
	settings with
	do       func(p *pack)
	output   string
	value, u float64
}

const (
	soc  = "state_of_charge"
	full = "capacity_coulombs"
	eta  = "coulombic_efficiency"
)

func holds(t *testing.T, formulas []formula) {
	for _, c := range formulas {
		t.Run(c.name, func(t *testing.T) {
			p := started(t, exact(c.settings))
			c.do(p)
			p.want(c.output, c.value, c.u)
		})
	}
}

func TestWhatIsCounted(t *testing.T) {
	holds(t, []formula{
		{"nothing is known before a mark", nil, func(p *pack) { p.next() }, left, unknown(), unknown()},
		{"nor the state of charge", nil, func(p *pack) { p.next() }, soc, unknown(), unknown()},
		{"but the capacity", with{"capacity_uncertainty_ratio": 0.05}, func(p *pack) { p.next() }, full, 36000, 1800},
		{"and the efficiency", with{"coulombic_efficiency": 0.99, "coulombic_efficiency_uncertainty": 0.01}, func(p *pack) { p.next() }, eta, 0.99, 0.01},
		{"a mark", nil, func(p *pack) { p.next(stores(30000, 100)) }, left, 30000, 100},
		{"a mark by a capacity that is not known well", with{"capacity_uncertainty_ratio": 0.05}, func(p *pack) { p.next(stores(30000, 100)) },
			soc, 30000. / 36000, math.Hypot(100./36000, 30000./36000*0.05)},
		{"what is counted after it, with all there is", nil, func(p *pack) {
			p.next(stores(30000, 100))
			p.charge.OutCoulombs, p.charge.ZeroCoulombs, p.charge.NetUncertaintyCoulombs = 3600, 30, 1e6
			p.charge.GainRatio, p.charge.NoiseSquareCoulombs, p.charge.GapBoundCoulombs = 0.001, 16, 52
			p.next()
		}, left, 26400, math.Sqrt(100*100 + 30*30 + 3.6*3.6 + 16 + 52*52/3.)},
		{"out and back again: no error of the gain", nil, func(p *pack) {
			p.charge.GainRatio = 0.01
			p.next(stores(30000, 100))
			p.charge.OutCoulombs = 3600
			p.next()
			p.charge.InCoulombs = 3600
			p.next()
		}, left, 30000, 100},
		{"zero is linear in time, noise is not", nil, func(p *pack) {
			p.next(stores(30000, 1e-3))
			for range 100 {
				p.charge.ZeroCoulombs += 3
				p.charge.NoiseSquareCoulombs += 9
				p.charge.NetUncertaintyCoulombs = 1e6
				p.next()
			}
		}, left, 30000, math.Sqrt(300*300 + 900 + 1e-6)},
		{"what is charged counts by the efficiency", with{"coulombic_efficiency": 0.98, "coulombic_efficiency_uncertainty": 0.01}, func(p *pack) {
			p.next(stores(10000, 100))
			p.charge.InCoulombs = 10000
			p.next()
		}, left, 19800, math.Hypot(100, 100)},
		{"it begins where the setting says", with{"capacity_uncertainty_ratio": 0.05, "initial_state_of_charge": 0.5, "initial_state_of_charge_uncertainty": 0.02},
			func(p *pack) { p.next() }, soc, 0.5, 0.02},
		{"and the charge by the capacity", with{"capacity_uncertainty_ratio": 0.05, "initial_state_of_charge": 0.5, "initial_state_of_charge_uncertainty": 0.02},
			func(p *pack) { p.next() }, left, 18000, math.Hypot(720, 900)},
		{"two marks weigh by their variances", nil, func(p *pack) { p.next(stores(30000, 100), stores(30300, 200)) },
			left, 30060, 100 * 200 / math.Hypot(100, 200)},
	})
}

func TestAdjustments(t *testing.T) {
	holds(t, []formula{
		{"an adjustment is left out where net is known no better for it", nil, func(p *pack) {
			p.charge.NetUncertaintyCoulombs, p.charge.ZeroCoulombs = 500, 500
			p.next(stores(30000, 100))
			p.charge.NetUncertaintyCoulombs, p.charge.ZeroCoulombs, p.charge.AdjustmentCoulombs = 40, 560, 300
			p.next()
		}, left, 30000, math.Hypot(100, 60)},
		{"and taken where it is known better", nil, func(p *pack) {
			p.charge.NetUncertaintyCoulombs, p.charge.ZeroCoulombs = 30, 500
			p.next(stores(30000, 100))
			p.charge.NetUncertaintyCoulombs, p.charge.ZeroCoulombs, p.charge.AdjustmentCoulombs = 40, 560, 300
			p.next()
		}, left, 29700, math.Hypot(100, 50)},
		{"counted to where net became known, and from there by what is known", nil, func(p *pack) {
			p.charge.NetUncertaintyCoulombs, p.charge.ZeroCoulombs = 500, 500
			p.next(stores(30000, 100))
			p.charge.NetUncertaintyCoulombs, p.charge.ZeroCoulombs, p.charge.AdjustmentCoulombs = 30, 510, 300 // from before the mark
			p.next()
			p.charge.NetUncertaintyCoulombs, p.charge.ZeroCoulombs, p.charge.AdjustmentCoulombs = 40, 1500, 380
			p.next()
		}, left, 29920, math.Hypot(100, 10+50)},
		{"an adjustment by half of what was charged", with{"coulombic_efficiency": 0.9}, func(p *pack) {
			p.next(stores(30000, 100))
			p.charge.AdjustmentCoulombs, p.charge.ZeroCoulombs = 1000, 10
			p.next()
		}, left, 29050, math.Hypot(100, 50/math.Sqrt(3))},
	})
}

func TestWhatMarksTeach(t *testing.T) {
	holds(t, []formula{
		{"marks that are shares measure the capacity", with{"capacity_uncertainty_ratio": 0.05, "marks": "state-of-charge"}, func(p *pack) {
			p.next(stores(36000, 180))
			p.charge.OutCoulombs = 32400
			p.next(stores(0, 180))
		}, full, 36000 - 3600*posterior(1800, 180*math.Sqrt2), 1800 * math.Sqrt(1-posterior(1800, 180*math.Sqrt2))},
		{"but never better than the gain", with{"capacity_uncertainty_ratio": 0.25, "marks": "state-of-charge"}, func(p *pack) {
			p.charge.GainRatio = 0.01
			p.next(stores(36000, 1e-6))
			p.charge.OutCoulombs = 32400
			p.next(stores(0, 1e-6))
		}, full, 36000 - 3600*posterior(9000, 324), 9000 * math.Sqrt(1-posterior(9000, 324))},
		{"marks in coulombs do not", with{"capacity_uncertainty_ratio": 0.05}, func(p *pack) {
			p.next(stores(36000, 180))
			p.charge.OutCoulombs = 35900
			p.next(stores(0, 180))
		}, full, 36000, 1800},
		{"a closed cycle measures the efficiency", with{"coulombic_efficiency": 0.99, "coulombic_efficiency_uncertainty": 0.01}, func(p *pack) {
			p.next(stores(20000, 10))
			p.charge.InCoulombs, p.charge.OutCoulombs = 10000, 9950
			p.next(stores(20000, 10))
		}, eta, 0.99 + 0.005*posterior(0.01, 10*math.Sqrt2/10000), 0.01 * math.Sqrt(1-posterior(0.01, 10*math.Sqrt2/10000))},
	})
}

// posterior is the weight of a measurement beside what was known.
func posterior(known, measured float64) float64 {
	return known * known / (known*known + measured*measured)
}
