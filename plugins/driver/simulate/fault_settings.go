package simulate

import (
	"fmt"

	"github.com/ampledger/ampledger/plugins/driver/simulate/physics"
)

type faultSettings struct {
	Kind         string   `json:"kind"`
	Input        string   `json:"input"`
	FromSeconds  float64  `json:"from_seconds"`
	Seconds      *float64 `json:"seconds"`
	EverySeconds *float64 `json:"every_seconds"`
	RatePerHour  *float64 `json:"rate_per_hour"`
	Amperes      *float64 `json:"amperes"`
	Rail         *string  `json:"rail"`
	WanderCodes  *float64 `json:"wander_codes"`
}

func (s *settings) faults(rig *physics.Rig, r *refusals) (all []physics.Fault) {
	for i := range s.Faults {
		all = append(all, s.Faults[i].check(fmt.Sprintf("faults[%d]", i), rig, r))
	}
	return all
}

func (s *faultSettings) check(key string, rig *physics.Rig, r *refusals) physics.Fault {
	kind, known := physics.FaultKindNamed(s.Kind)
	if !known {
		r.add(key+".kind", "%q is none, give %s", s.Kind, physics.FaultKinds())
		return physics.Fault{}
	}
	fault := physics.Fault{Kind: kind}
	s.checkInput(key, &fault, rig, r)
	s.checkTimes(key, &fault, rig.PeriodNanos, r)
	s.checkFigures(key, &fault, r)
	return fault
}

func (s *faultSettings) checkInput(key string, to *physics.Fault, rig *physics.Rig, r *refusals) {
	has, code := to.Kind.HasInput()
	input, known := physics.InputNamed(s.Input)
	there := map[physics.Input]bool{
		physics.ShuntCode: rig.Shunt != nil, physics.ShuntCelsius: rig.Shunt != nil && !code,
		physics.MagneticCode: rig.Magnetic != nil, physics.MagneticCelsius: rig.Magnetic != nil && !code,
		physics.SupplyVolts: rig.Magnetic != nil && rig.Magnetic.Supply != nil && !code, physics.ContactorOpen: !code,
	}
	switch {
	case !has && s.Input != "":
		r.add(key+".input", "%s concerns no one input, leave it out", to.Kind)
	case has && !(known && there[input]):
		r.add(key+".input", "%q is none that this device has and %s can concern", s.Input, to.Kind)
	}
	to.Input = input
}

func (s *faultSettings) checkTimes(key string, to *physics.Fault, period int64, r *refusals) {
	to.FromNanos, to.LengthNanos = r.since(key+".from_seconds", s.FromSeconds), period
	if s.Seconds != nil {
		to.LengthNanos = r.nanos(key+".seconds", *s.Seconds)
	}
	if s.EverySeconds != nil {
		to.EveryNanos = r.nanos(key+".every_seconds", *s.EverySeconds)
		if to.EveryNanos < to.LengthNanos {
			r.add(key+".every_seconds", "%v s is less than the fault lasts", *s.EverySeconds)
		}
	}
	if s.RatePerHour != nil {
		to.RatePerHour = *s.RatePerHour
		r.positive(key+".rate_per_hour", *s.RatePerHour)
		if s.EverySeconds != nil {
			r.add(key+".every_seconds", "does not go with rate_per_hour, which makes the fault come at random")
		}
	}
}

// checkFigures reads what only one kind has.
func (s *faultSettings) checkFigures(key string, to *physics.Fault, r *refusals) {
	for _, c := range []struct {
		key   string
		given bool
		of    physics.FaultKind
	}{
		{"amperes", s.Amperes != nil, physics.Spike},
		{"rail", s.Rail != nil, physics.OpenSenseLead},
		{"wander_codes", s.WanderCodes != nil, physics.OpenSenseLead},
	} {
		if c.given && to.Kind != c.of {
			r.add(key+"."+c.key, "is a figure of %s", c.of)
		}
	}
	if to.Kind == physics.Spike && s.Amperes == nil {
		r.add(key+".amperes", "missing, how high is the spike?")
	}
	to.Amperes, to.WanderCodes = or(s.Amperes, 0), or(s.WanderCodes, 0)
	r.notNegative(key+".wander_codes", to.WanderCodes)
	switch rail := or(s.Rail, "upper"); rail {
	case "upper", "lower":
		to.LowerRail = rail == "lower"
	default:
		r.add(key+".rail", "%q is none, give upper or lower", rail)
	}
}
