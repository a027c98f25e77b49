package coulombsoc

import (
	"math"
	"strings"
	"testing"
	"time"

	"github.com/ampledger/ampledger/plugins/plugin"
)

const left = "charge_left_coulombs"

func TestRefusesSettings(t *testing.T) {
	for _, c := range []struct {
		settings with
		want     string
	}{
		{with{"capacity_coulombs": 0.0}, "setting capacity_coulombs: the capacity is not known: give it here, or as capacity_ampere_hours of the conductor"},
		{with{"capacity_coulombs": -1.0}, "setting capacity_coulombs: -1 must be from 1 to"},
		{with{"capacity_coulombs": 1e300}, "setting capacity_coulombs: 1e+300 must be from 1 to"},
		{with{"capacity_uncertainty_ratio": 0.3}, "setting capacity_uncertainty_ratio: 0.3 must be from 0 to 0.25"},
		{with{"coulombic_efficiency": 99.5}, "setting coulombic_efficiency: 99.5 must be from 0.5 to 1"},
		{with{"coulombic_efficiency_uncertainty": -0.1}, "setting coulombic_efficiency_uncertainty: -0.1 must be from 0 to 0.25"},
		{with{"capacity_walk_ratio_per_root_year": 2.0}, "setting capacity_walk_ratio_per_root_year: 2 must be from 0 to 1"},
		{with{"coulombic_efficiency_walk_per_root_year": -1.0}, "setting coulombic_efficiency_walk_per_root_year: -1 must be from 0 to 1"},
		{with{"initial_state_of_charge": 0.5}, "initial_state_of_charge_uncertainty: give both, or neither"},
		{with{"initial_state_of_charge": 50.0, "initial_state_of_charge_uncertainty": 0.1}, "setting initial_state_of_charge: 50 must be from 0 to 1"},
		{with{"marks": "percent"}, `setting marks: "percent" is none of coulombs, state-of-charge`},
		{with{"gate": 0.0}, "setting gate: 0 must be above 0"},
		{with{"gate": -1.0, "marks": ""}, "setting gate: -1 must be above 0"},
	} {
		settings, err := plugin.NewSettings(exact(c.settings))
		if err != nil {
			t.Fatal(err)
		}
		if _, err := New().Configure(t.Context(), plugin.Conductor{}, settings); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v: error %v, want %q", c.settings, err, c.want)
		}
	}
}

func TestTheConductorsCapacity(t *testing.T) {
	e := New()
	method, err := e.Configure(t.Context(), plugin.Conductor{CapacityCoulombs: 7200}, plugin.Settings{})
	if err != nil || !strings.Contains(method, "7200 C ± 3.6e+02 C") {
		t.Errorf("%q, %v", method, err)
	}
	if _, err := New().Configure(t.Context(), plugin.Conductor{}, plugin.Settings{}); err == nil {
		t.Error("configured without a capacity")
	}
}

// TestPositiveIsCharge turns the conductor: a mark's passed charge is then what is stored, and the ledger's out and in stay what they are.
func TestPositiveIsCharge(t *testing.T) {
	p := started(t, exact(nil))
	settings, err := plugin.NewSettings(exact(nil))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := p.Configure(t.Context(), plugin.Conductor{ChargeIsPositive: true, Channels: []*plugin.Channel{{Name: "shunt"}}}, settings); err != nil {
		t.Fatal(err)
	}
	p.next(&plugin.Mark{PassedCoulombs: 30000, StandardUncertaintyCoulombs: 100})
	p.charge.OutCoulombs = 1000
	p.next()
	p.want(left, 29000, 100)
}

// TestAMarkThatIsNotBelieved is wrong by 30 σ, or the count is: the next mark decides.
func TestAMarkThatIsNotBelieved(t *testing.T) {
	for _, c := range []struct {
		name   string
		second *plugin.Mark
		notes  []string
		value  float64
		u      float64
	}{
		{"the count was right", stores(29000, 100), nil, 29000, 100 / math.Sqrt2},
		{"the mark was right", stores(25000, 100), []string{"stored charge re-opened"}, 25000, 100 / math.Sqrt2},
		{"neither was", stores(20000, 100), []string{"mark not believed"}, 29000, 100},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := started(t, exact(nil)).next(stores(30000, 100))
			p.next(stores(26000, 100)).wantNotes("mark not believed")
			if text := p.answer.GetNotes()[0].GetText(); !strings.Contains(text, "it states 26000 C, -4000 C off what was counted, where ± 1.4e+02 C") {
				t.Error(text)
			}
			p.want(left, 30000, 100)
			p.charge.OutCoulombs = 1000
			p = p.next().again(exact(nil)) // a rival outlives a snapshot
			p.next(c.second).wantNotes(c.notes...)
			p.want(left, c.value, c.u)
		})
	}
}

// TestARivalEndsWithTheNextMark wants two wrong marks with a right one between them not to be believed, though they agree.
func TestARivalEndsWithTheNextMark(t *testing.T) {
	p := started(t, exact(nil)).next(stores(30000, 100)).next(stores(26000, 100)).next(stores(30000, 100))
	p.next(stores(26000, 100)).wantNotes("mark not believed")
	p.want(left, 30000, 100/math.Sqrt2)
}

// TestARivalCountsAsTheOther lets net become known 10 C after a mark that is not believed; 1000 C of zero later a second one agrees with it.
func TestARivalCountsAsTheOther(t *testing.T) {
	p := started(t, exact(nil)).next(stores(30000, 100))
	c := p.charge
	c.NetUncertaintyCoulombs, c.ZeroCoulombs = 500, 500
	p.next(stores(26000, 100))
	c.NetUncertaintyCoulombs, c.ZeroCoulombs = 30, 510
	p.next()
	c.NetUncertaintyCoulombs, c.ZeroCoulombs = 40, 1510
	p.next(stores(26000, 100)).wantNotes("stored charge re-opened")
	p.want(left, 26000, math.Sqrt(posterior(math.Hypot(100, 60), 100))*100)
}

// TestTheZeroOfTwoLegs empties and fills the pack between marks that are hardly off. Were the zero as far off in both legs the same way, its errors
// would leave the capacity without one; were it off anew, half of one leg's variance would stay, and that is what is stated.
func TestTheZeroOfTwoLegs(t *testing.T) {
	p := started(t, exact(with{"capacity_uncertainty_ratio": 0.25, "marks": asShare, "gate": 1e9})).next(stores(36000, 1e-3))
	p.charge.OutCoulombs, p.charge.ZeroCoulombs, p.charge.NetUncertaintyCoulombs = 36000, 300, 1e6
	p.next(stores(0, 1e-3))
	p.charge.InCoulombs, p.charge.ZeroCoulombs = 36000, 600
	p.next(stores(36000, 1e-3))
	if value, u := p.output(full); value != 36000 || math.Abs(u*math.Sqrt2-300) > 3 {
		t.Errorf("the capacity is %g C ± %g C", value, u)
	}
}

// TestAShareIsAsGoodAsItsMark also where what was learnt of the capacity errs with the gain: the ledger began anew, and what is stored is not known from
// anything but the mark.
func TestAShareIsAsGoodAsItsMark(t *testing.T) {
	p := started(t, exact(with{"capacity_uncertainty_ratio": 0.25, "marks": asShare}))
	p.charge.GainRatio = 0.01
	p.next(stores(36000, 1e-3))
	p.charge.OutCoulombs, p.charge.ZeroCoulombs = 36000, 100
	p.next(stores(0, 1e-3))
	p.charge.OutCoulombs, p.charge.ZeroCoulombs = 0, 0
	p.next().wantNotes("ledger began anew")
	p.next(stores(18000, 100)).want(soc, 0.5, 100./36000)
}

func TestMarksThatCannotBeMeant(t *testing.T) {
	p := started(t, exact(nil)).next(stores(30000, 100))
	for _, m := range []*plugin.Mark{
		stores(math.NaN(), 1), stores(math.Inf(1), 1), stores(1, math.NaN()), stores(1, math.Inf(1)), stores(1, 0), stores(1, -1),
		stores(1e300, 1), stores(1, 1e300), stores(1, 1e-200), {},
	} {
		p.next(m).wantNotes("mark refused")
		p.want(left, 30000, 100)
	}
	s := p.summary(stores(30000, 100))
	s.Charge = nil
	p.observe(s).wantNotes("mark refused")
	p.next().want(left, 30000, 100)
}

// TestRunsOfTheDaemon ends a run after an hour; the next begins its counters anew, and its gap bound holds the time away. What the run before
// still counted after its newest summary shows in the uncertainty of net: 7 C of zero.
func TestRunsOfTheDaemon(t *testing.T) {
	for _, told := range []bool{true, false} {
		p := started(t, exact(nil)).next(stores(30000, 100))
		p.charge.OutCoulombs, p.charge.ZeroCoulombs, p.charge.NetUncertaintyCoulombs = 3600, 30, 30
		p.charge.NoiseSquareCoulombs, p.charge.GapBoundCoulombs = 16, 6
		p.next()
		if told { // the next run has counted further than the one before: only its age tells
			p = p.again(exact(nil))
			p.Age(time.Hour)
			p.charge.ZeroCoulombs, p.charge.NoiseSquareCoulombs, p.charge.GapBoundCoulombs = 40, 25, 600
		} else {
			p.charge.ZeroCoulombs, p.charge.NoiseSquareCoulombs, p.charge.GapBoundCoulombs = 20, 25, 600
		}
		p.charge.OutCoulombs, p.charge.NetUncertaintyCoulombs = 3500, 37+p.charge.ZeroCoulombs // 100 C of the run before were never posted
		zero := 30 + 7 + p.charge.ZeroCoulombs
		p.next()
		p.want(left, 26500, math.Sqrt(1e4+zero*zero+16+25+606*606/3.))
		p.wantNotes()
	}
}

func TestAnotherLedger(t *testing.T) {
	p := started(t, exact(with{"capacity_uncertainty_ratio": 0.05}))
	p.charge.OutCoulombs, p.charge.InCoulombs, p.charge.ZeroCoulombs = 1e6, 1e6, 10
	p.next(stores(30000, 100))
	p.charge.OutCoulombs, p.charge.InCoulombs, p.charge.ZeroCoulombs, p.charge.GapBoundCoulombs = 5, 5, 1, 1000
	p.next().wantNotes("ledger began anew")
	p.want(left, unknown(), unknown())
	p.want(full, 36000, 1800)
	p.next().wantNotes()
	p.next(stores(20000, 100)).want(left, 20000, 100)
}

func TestChargeThatCannotBeMeant(t *testing.T) {
	p := started(t, exact(nil)).next(stores(30000, 100))
	for i, harm := range []func(*plugin.Charge){
		func(c *plugin.Charge) { c.OutCoulombs = math.NaN() }, func(c *plugin.Charge) { c.InCoulombs = math.Inf(1) },
		func(c *plugin.Charge) { c.AdjustmentCoulombs = -1e300 }, func(c *plugin.Charge) { c.ZeroCoulombs = -1 },
		func(c *plugin.Charge) { c.NetUncertaintyCoulombs = math.NaN() }, func(c *plugin.Charge) { c.GainRatio = 2 },
		func(c *plugin.Charge) { c.NoiseSquareCoulombs = 1e300 }, func(c *plugin.Charge) { c.GapBoundCoulombs = -1 },
	} {
		s := p.summary()
		harm(s.Charge)
		p.observe(s)
		if i == 0 {
			p.wantNotes("charge unusable")
		} else {
			p.wantNotes()
		}
		p.want(left, unknown(), unknown())
		p.want(full, 36000, 0)
	}
	s := p.summary()
	s.Charge = nil
	p.observe(s).wantNotes()
	p.want(left, unknown(), unknown())
	p.charge.OutCoulombs = 50
	p.next().want(left, 29950, 100)
}

// TestOutsideIsNotedOnce takes more out than there is. A pack that is full to within its uncertainty is nothing to tell.
func TestOutsideIsNotedOnce(t *testing.T) {
	p := started(t, exact(nil)).next(stores(36150, 100))
	p.wantNotes()
	p.charge.OutCoulombs = 36150 + 201
	p.next().wantNotes("state of charge outside")
	p.want(soc, -201./36000, 100./36000)
	p.charge.OutCoulombs += 100
	p.next().wantNotes()
	p.charge.InCoulombs = 1000
	p.next().wantNotes()
	p.charge.OutCoulombs += 1000
	p.next().wantNotes("state of charge outside")
}

// TestMissedSummariesCostNothing compares what is stated after an hour with and without the summaries in between.
func TestMissedSummariesCostNothing(t *testing.T) {
	settings := exact(with{"coulombic_efficiency_uncertainty": 0.01})
	all, few := started(t, settings).next(stores(30000, 100)), started(t, settings).next(stores(30000, 100))
	for range 60 {
		all.charge.OutCoulombs += 17
		all.charge.InCoulombs += 5
		all.charge.ZeroCoulombs += 0.5
		all.charge.NetUncertaintyCoulombs += 0.5
		all.charge.GainRatio = 0.001
		all.next()
	}
	few.charge = all.charge
	few.nanos = all.nanos - stepNanos
	few.next()
	value, u := all.output(left)
	few.want(left, value, u)
	if u <= 100 {
		t.Errorf("± %g C", u)
	}
}

// TestTheCapacityAges with time, also that in which the daemon was away, and with the daemon's clock going backwards.
func TestTheCapacityAges(t *testing.T) {
	settings := exact(with{"capacity_walk_ratio_per_root_year": 0.02})
	p := started(t, settings).next()
	p = p.again(settings)
	year := 365.25 * 24 * time.Hour
	p.Age(4 * year)
	p.nanos += int64(year) // the clock of another start of the device
	p.next().want(full, 36000, 36000*0.02*math.Sqrt(4+60/yearSeconds))
	p.nanos = 0
	p.next().want(full, 36000, 36000*0.02*math.Sqrt(4+120/yearSeconds))
}
