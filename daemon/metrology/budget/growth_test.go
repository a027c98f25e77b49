package budget_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/ampledger/ampledger/daemon/metrology/budget"
)

const hour = 3600.0

// worked is the numerical table of the growth laws (constant bias, white noise, random walk; IEEE Std 952 Annex C, GUM 5.1.2): u_b = 0.010 A, N =
// 0.02 A·√s, √q = 1e−4 A/√s.
func worked() budget.Growth {
	return budget.Growth{IntervalSeconds: 0.25, WalkAmperesPerRootSecond: 1e-4, Effects: []budget.Effect{
		{Source: "zero", Value: 0.010, Unit: "A", Constant: 1, DegreesOfFreedom: math.Inf(1)},
		{Source: "noise", Value: 0.04, Unit: "A", Constant: 1, Independent: true, DegreesOfFreedom: math.Inf(1)},
	}}
}

func TestGrowthLaws(t *testing.T) {
	for seconds, ampereHours := range map[float64]float64{60: 1.722939e-4, 3600: 0.01058825, 86400: 0.4727480, 604800: 7.728001} {
		near(t, "charge", worked().Standard(0, seconds, math.Inf(1), budget.Care{})/3600, ampereHours, 1e-6)
	}
}

// A wrong gain counts by the net charge: in proportion to time until a pack is as full or empty as it can be.
func TestGainCountsByNetCharge(t *testing.T) {
	g := budget.Growth{IntervalSeconds: 1, Effects: []budget.Effect{{Value: 0.005, Unit: "1", PerAmpere: 1}}}
	near(t, "an hour", g.Standard(-50, hour, 400*hour, budget.Care{}), 0.25*hour, 1e-12)
	near(t, "a day", g.Standard(-50, 24*hour, 400*hour, budget.Care{}), 2*hour, 1e-12)
	both := budget.Effect{Value: 0.01, Unit: "1", Constant: 100, PerAmpere: 1} // a supply that is off moves zero and gain together
	near(t, "together", both.Charge(hour, 50*hour, 1).Amount(), 1.5*hour, 1e-12)
	near(t, "against each other", both.Charge(hour, -50*hour, 1).Amount(), 0.5*hour, 1e-12)
	near(t, "a reading", both.At(50).Amount(), 1.5, 1e-12)
}

// drawn counts a charge of no current with a zero that walks and is shown by rests, once: the slow and obvious version, step by step.
func drawn(r *rand.Rand, g budget.Growth, spans int, care budget.Care) (coulombs float64) {
	const step = 60.0
	noise := 0.04 * math.Sqrt(g.IntervalSeconds/care.RestSeconds)
	floor, zero := care.FloorAmperes*r.NormFloat64(), 0.01*r.NormFloat64()
	shown := zero + noise*r.NormFloat64() + floor
	for span := range spans {
		integral := 0.0
		for range int(care.RestEverySeconds / step) {
			before := zero
			zero += g.WalkAmperesPerRootSecond * math.Sqrt(step) * r.NormFloat64()
			integral += step * (before + zero) / 2
		}
		next := zero + noise*r.NormFloat64() + floor
		subtracted := shown
		if care.Corrects && span < spans-1 {
			subtracted = (shown + next) / 2
		}
		coulombs += integral - subtracted*care.RestEverySeconds
		shown = next
	}
	return coulombs + 0.04*math.Sqrt(g.IntervalSeconds*float64(spans)*care.RestEverySeconds)*r.NormFloat64()
}

// Of many charges drawn so the deviation is what Standard says; where rests correct, a mean between two neighbouring rests is a little less than the
// safe side that it takes.
func TestRestsAgainstDrawnCharges(t *testing.T) {
	for name, care := range map[string]budget.Care{
		"held":     {RestEverySeconds: 4 * hour, RestSeconds: 10},
		"corrects": {RestEverySeconds: 4 * hour, RestSeconds: 10, Corrects: true},
		"floor":    {RestEverySeconds: 4 * hour, RestSeconds: 600, FloorAmperes: 0.004, Corrects: true},
	} {
		r, g := rand.New(rand.NewPCG(1, 2)), worked()
		sum := 0.0
		const runs = 1500
		for range runs {
			q := drawn(r, g, 6, care)
			sum += q * q
		}
		near(t, name, g.Standard(0, 24*hour, math.Inf(1), care), math.Sqrt(sum/runs), 0.06)
	}
}

// Rests and marks never make it worse, what neither shows stays, and the floor of a mark is reached.
func TestCareHelps(t *testing.T) {
	g := worked()
	month := 30 * 24 * hour
	rests := budget.Care{RestEverySeconds: 24 * hour, RestSeconds: 600, Corrects: true}
	marks := budget.Care{MarkEverySeconds: 7 * 24 * hour, MarkCoulombs: 0.5 * hour}
	all := rests
	all.MarkEverySeconds, all.MarkCoulombs = marks.MarkEverySeconds, marks.MarkCoulombs
	alone, rested, marked, both := g.Standard(0, month, math.Inf(1), budget.Care{}), g.Standard(0, month, math.Inf(1), rests),
		g.Standard(0, month, math.Inf(1), marks), g.Standard(0, month, math.Inf(1), all)
	if !(both < rested && both < marked && rested < alone && marked < alone) {
		t.Errorf("alone %g, rests %g, marks %g, both %g", alone, rested, marked, both)
	}
	if least := math.Sqrt2 * marks.MarkCoulombs; both < least {
		t.Errorf("both %g, less than two marks' %g", both, least)
	}
	if held := rests; g.Standard(0, month, math.Inf(1), budget.Care{RestEverySeconds: held.RestEverySeconds, RestSeconds: 600}) <= rested {
		t.Error("correcting what was counted does not help")
	}
	g.Effects = append(g.Effects, budget.Effect{Value: 0.3, Constant: 1, Hidden: true})
	near(t, "hysteresis stays", g.Standard(0, month, math.Inf(1), rests), 0.3*month, 0.01)
	if early := g.Standard(0, hour, math.Inf(1), marks); early != g.Standard(0, hour, math.Inf(1), budget.Care{}) {
		t.Error("a mark helped before there was one")
	}
}
