package budget_test

import (
	"math"
	"strings"
	"testing"

	"github.com/ampledger/ampledger/daemon/metrology/budget"
	"github.com/ampledger/ampledger/daemon/referencetest"
)

var near = referencetest.Near

// endGauge is the budget of JCGM 100:2008 H.1, the calibration of an end gauge of nominally 50 mm, in nanometres: what stands in table H.1 and
// in the text before it (from memory).
func endGauge() budget.Budget {
	const length = 50.000623e6 // nm, of the standard
	line := func(source string, value float64, unit string, d budget.Distribution, divisor, sensitivity, freedom float64) budget.Contribution {
		return budget.Contribution{Source: source, Value: value, Unit: unit, Distribution: d, Divisor: divisor, Sensitivity: sensitivity, DegreesOfFreedom: freedom}
	}
	return budget.Budget{
		line("calibration of the standard", 75, "nm", budget.Normal, 3, 1, 18),
		line("repeated observations", 13, "nm", budget.Normal, math.Sqrt(5), 1, 24),
		line("comparator, random", 10, "nm", budget.Normal, 2.57, 1, 5), // 95 %, t₉₅(5)
		line("comparator, systematic", 20, "nm", budget.Normal, 3, 1, 8),
		line("expansion of the standard", 2e-6, "1/K", budget.Rectangular, budget.Rectangular.Divisor(), 0, math.Inf(1)),
		line("temperature of the bench", 0.41, "K", budget.Normal, 1, 0, math.Inf(1)),
		line("difference of the expansions", 1e-6, "1/K", budget.Rectangular, budget.Rectangular.Divisor(), 0.1*length, 50),
		line("difference of the temperatures", 0.05, "K", budget.Rectangular, budget.Rectangular.Divisor(), 11.5e-6*length, 2),
	}
}

// The published results: u_c = 32 nm, ν_eff = 16, t₉₉(16) = 2.92, U₉₉ = 93 nm, and the amounts of table H.1.
func TestEndGauge(t *testing.T) {
	b := endGauge()
	if err := b.Check(); err != nil {
		t.Fatal(err)
	}
	for i, printed := range []float64{25, 5.8, 3.9, 6.7, 0, 0, 2.9, 16.6} {
		if got := b[i].Amount(); math.Abs(got-printed) > 0.0501 {
			t.Errorf("%s adds %.2f nm, printed are %g", b[i].Source, got, printed)
		}
	}
	if u := b.Combined(); math.Round(u) != 32 {
		t.Errorf("combined %.2f nm", u)
	}
	if freedom := b.EffectiveDegreesOfFreedom(); math.Floor(freedom) != 16 || math.Abs(freedom-16.7) > 0.1 {
		t.Errorf("%.2f effective degrees of freedom", freedom)
	}
	near(t, "k", b.Coverage(0.99), 2.92, 0.0005/2.92+0.001)
	if u := b.Expanded(0.99); math.Abs(u-93) > 0.9 { // 2.92 · 32 nm, rounded before and after
		t.Errorf("expanded %.2f nm", u)
	}
	sum := 0.0
	for i := range b {
		sum += b.Share(i)
	}
	near(t, "sum of the shares", sum, 1, 1e-12)
	near(t, "share of the standard", b.Share(0), 625/b.Combined()/b.Combined(), 1e-12)
}

// Student's factors as printed in JCGM 100:2008 table G.2 (from memory; in every table of the distribution).
func TestStudentTable(t *testing.T) {
	printed := map[float64][3]float64{ // 95 %, 95.45 %, 99 %
		1: {12.71, 13.97, 63.66}, 2: {4.30, 4.53, 9.92}, 3: {3.18, 3.31, 5.84}, 5: {2.57, 2.65, 4.03}, 8: {2.31, 2.37, 3.36},
		10: {2.23, 2.28, 3.17}, 16: {2.12, 2.17, 2.92}, 20: {2.09, 2.13, 2.85}, 50: {2.01, 2.05, 2.68}, 100: {1.984, 2.025, 2.626},
		math.Inf(1): {1.960, 2.000, 2.576},
	}
	for freedom, factors := range printed {
		for i, probability := range []float64{0.95, 0.9545, 0.99} {
			if got := budget.Student(probability, freedom); math.Abs(got-factors[i]) > 0.0051 {
				t.Errorf("t at %g for %g degrees of freedom is %.4f, printed %g", probability, freedom, got, factors[i])
			}
		}
	}
	if budget.Student(0.95, 16.9) != budget.Student(0.95, 16) || budget.Student(0.95, 0.3) != budget.Student(0.95, 1) {
		t.Error("degrees of freedom are not truncated")
	}
	near(t, "many", budget.Student(0.95, 1e8), budget.Student(0.95, math.Inf(1)), 1e-7)
}

// JCGM 100:2008 F.2.2.1 and 4.3: a digital step gives 0.29 of itself, ±a gives a/√3, a triangle a/√6; what swings like a sine a/√2.
func TestDivisors(t *testing.T) {
	for d, want := range map[budget.Distribution]float64{budget.Normal: 1, budget.Rectangular: 0.57735, budget.Triangular: 0.40825, budget.ArcSine: 0.70711} {
		near(t, d.String(), 1/d.Divisor(), want, 1e-4)
	}
}

func TestCheckTellsEveryLine(t *testing.T) {
	good := endGauge()[0]
	bad := budget.Budget{good, good, good, good, good}
	bad[1].Value, bad[2].Divisor, bad[3].DegreesOfFreedom, bad[4].Sensitivity = -1, 0, 0, math.NaN()
	if err := bad.Check(); err == nil || strings.Count(err.Error(), "\n") != 3 {
		t.Errorf("four lines are wrong: %v", err)
	}
	if none := (budget.Budget{}); none.Combined() != 0 || !math.IsInf(none.EffectiveDegreesOfFreedom(), 1) || none.Check() != nil {
		t.Error("an empty budget")
	}
	if still := (budget.Budget{{Divisor: 1, DegreesOfFreedom: 1}}); still.Share(0) != 0 || !math.IsInf(still.EffectiveDegreesOfFreedom(), 1) {
		t.Error("a budget in which nothing is uncertain")
	}
}
