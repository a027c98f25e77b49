package design

import (
	"math"

	"github.com/ampledger/ampledger/daemon/metrology/budget"
)

// Charge is the expanded uncertainty of a charge counted at a constant current for some time, just before the next rest and mark would be. A nil
// figure is not known.
type Charge struct {
	Seconds             float64  `json:"seconds"`
	NetAmpereHours      float64  `json:"net_ampere_hours"`               // current times time, or the capacity if that is less: a pack cannot give more than it holds
	AloneAmpereHours    float64  `json:"expanded_alone_ampere_hours"`    // nothing is done about the zero
	RestsAmpereHours    float64  `json:"expanded_rests_ampere_hours"`    // with rests
	MarksAmpereHours    *float64 `json:"expanded_marks_ampere_hours"`    // with marks; nil = the capacity is not known
	TogetherAmpereHours *float64 `json:"expanded_together_ampere_hours"` // with both
}

// spans are the times that charges are looked at after.
var spans = []float64{hour, day, 30 * day}

func (c *Candidate) charge(effects []effect, current float64, q Question) (all []Charge) {
	for _, seconds := range spans {
		all = append(all, c.chargeAfter(seconds, effects, current, q))
	}
	return all
}

func (c *Candidate) chargeAfter(seconds float64, effects []effect, current float64, q Question) Charge {
	g := budget.Growth{IntervalSeconds: 1 / c.rate(q)}
	g.WalkAmperesPerRootSecond, _ = c.walk()
	for _, e := range effects {
		g.Effects = append(g.Effects, e.Effect)
	}
	limit := math.Inf(1)
	if capacity := c.Conductor.CapacityAmpereHours; capacity > 0 {
		limit = capacity * hour
	}
	k, rests := budget.Student(q.Probability, math.Inf(1))/hour, c.rests(seconds, q)
	out := Charge{
		Seconds: seconds, NetAmpereHours: math.Copysign(min(math.Abs(current)*seconds, limit), current) / hour,
		AloneAmpereHours: k * g.Standard(current, seconds, limit, budget.Care{}), RestsAmpereHours: k * g.Standard(current, seconds, limit, rests),
	}
	if !math.IsInf(limit, 1) {
		marks := budget.Care{MarkEverySeconds: q.MarkEverySeconds, MarkCoulombs: q.MarkRatio * limit}
		out.MarksAmpereHours = finite(k * g.Standard(current, seconds, limit, marks))
		rests.MarkEverySeconds, rests.MarkCoulombs = marks.MarkEverySeconds, marks.MarkCoulombs
		out.TogetherAmpereHours = finite(k * g.Standard(current, seconds, limit, rests))
	}
	return out
}

// walk is the density of the zero's random walk, A/√s: what the estimator is told of the channel or of all, or what biasfilter takes where it is told
// nothing, a tenth of the zero's error in an hour.
func (c *Candidate) walk() (amperesPerRootSecond float64, known bool) {
	e := c.Conductor.Estimator
	if e == nil {
		return 0, false
	}
	for _, key := range []string{"zero_walk_amperes_per_root_hour", "walk_amperes_per_root_hour"} {
		if walk, found := c.declared(key); found {
			return walk / math.Sqrt(hour), true
		}
	}
	if walk, found := number(e.With["walk_amperes_per_root_hour"]); found {
		return walk / math.Sqrt(hour), true
	}
	if e.Plugin.Name == "biasfilter" {
		return c.Channel.ZeroUncertaintyAmperes / 10 / math.Sqrt(hour), true
	}
	return 0, false
}

// rests are what the configured estimator makes of rests: fixedzero holds the first, or each until the next; all others are taken to correct what was
// counted. The floor is that of rounding, where the noise does not carry it, or what the estimator is told.
func (c *Candidate) rests(seconds float64, q Question) budget.Care {
	care := budget.Care{RestEverySeconds: q.RestEverySeconds, RestSeconds: q.RestSeconds, Corrects: true}
	if rounding, independent := c.Sensor.Rounding(); !independent {
		care.FloorAmperes = rounding
	}
	if floor, found := c.declared("floor_amperes"); found {
		care.FloorAmperes = floor
	}
	if e := c.Conductor.Estimator; e != nil && e.Plugin.Name == "fixedzero" {
		care.Corrects = false
		if e.With["zero"] != "each-rest" {
			care.RestEverySeconds = math.Max(seconds, q.RestEverySeconds)
		}
	}
	return care
}
