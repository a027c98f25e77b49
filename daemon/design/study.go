package design

import (
	"errors"
	"fmt"
	"math"

	"github.com/ampledger/ampledger/daemon/metrology/budget"
)

// Study is what candidates can measure.
type Study struct {
	Question    Question     `json:"question"`
	Channels    []Channel    `json:"channels"`
	Comparisons []Comparison `json:"comparisons"`

	candidates []Candidate
}

// Channel is one candidate's part.
type Channel struct {
	Conductor string    `json:"conductor"`
	Channel   string    `json:"channel"`
	Kind      string    `json:"kind"` // shunt, magnetic or reported
	RateHertz float64   `json:"rate_hertz"`
	Range     Range     `json:"range"`
	Shunt     *Shunt    `json:"shunt"`
	Magnetic  *Magnetic `json:"magnetic"`
	Isolation Isolation `json:"isolation"`
	Cases     []Case    `json:"cases"` // at each current of the question, and at each temperature
	Notes     []string  `json:"notes"` // what the figures do not hold
}

// Case is the budget of a reading at one current and temperature, and of the charge that such readings are counted to.
type Case struct {
	Amperes                   float64  `json:"amperes"`
	Celsius                   float64  `json:"celsius"`
	Lines                     []Line   `json:"lines"`
	StatedAmperes             float64  `json:"stated_amperes"`               // standard uncertainty that the daemon states of such a reading before any estimate
	CombinedAmperes           float64  `json:"combined_amperes"`             // of all lines
	EffectiveDegreesOfFreedom *float64 `json:"effective_degrees_of_freedom"` // nil = infinite
	CoverageFactor            float64  `json:"coverage_factor"`
	ExpandedAmperes           float64  `json:"expanded_amperes"`
	OutOfRange                bool     `json:"out_of_range"` // the channel does not read such a current
	Charge                    []Charge `json:"charge"`
}

// Line is one contribution.
type Line struct {
	Source              string   `json:"source"`
	Value               float64  `json:"value"`
	Unit                string   `json:"unit"`
	Distribution        string   `json:"distribution"`
	Divisor             float64  `json:"divisor"`
	Sensitivity         float64  `json:"sensitivity"` // amperes for one of unit
	ContributionAmperes float64  `json:"contribution_amperes"`
	DegreesOfFreedom    *float64 `json:"degrees_of_freedom"` // nil = infinite
	ShareRatio          float64  `json:"share_ratio"`        // of the variance
	Stated              bool     `json:"stated"`             // the daemon states it of a reading
}

// Examine makes the study. The error tells everything that is wrong with the question, or that there is no candidate.
func Examine(candidates []Candidate, q Question) (*Study, error) {
	if len(candidates) == 0 {
		return nil, errors.New("there is no channel whose sensor is known")
	}
	if err := q.Check(); err != nil {
		return nil, err
	}
	s := &Study{Question: q, candidates: candidates}
	currents := s.currents()
	for i := range candidates {
		s.Channels = append(s.Channels, candidates[i].examine(q, currents[i]))
	}
	s.Comparisons = s.compare()
	return s, nil
}

// currents are those that each candidate is looked at: those asked for, or what is usual for all that it is compared with.
func (s *Study) currents() [][]float64 {
	all := make([][]float64, len(s.candidates))
	for i := range all {
		all[i] = s.usual([]int{i})
	}
	for _, g := range s.groups() {
		for _, i := range g.members {
			all[i] = s.usual(g.members)
		}
	}
	return all
}

// usual are the currents asked for; if none are, a tenth of the smallest rated current, all of it, and the largest rated current if that is another.
// 100 A stands for what is not known.
func (s *Study) usual(members []int) []float64 {
	if len(s.Question.Amperes) > 0 {
		return s.Question.Amperes
	}
	least, most := math.Inf(1), 0.0
	for _, i := range members {
		if rated := s.candidates[i].ratedAmperes(); rated > 0 {
			least, most = min(least, rated), max(most, rated)
		}
	}
	switch {
	case most == 0:
		return []float64{10, 100}
	case most == least:
		return []float64{least / 10, least}
	}
	return []float64{least / 10, least, most}
}

func (c *Candidate) examine(q Question, currents []float64) Channel {
	ch := Channel{Conductor: c.Conductor.Name, Channel: c.Channel.Name, Kind: c.Channel.Kind(), RateHertz: c.rate(q)}
	ch.Range, ch.Shunt, ch.Magnetic, ch.Isolation, ch.Notes = c.span(), c.shunt(q), c.magnetic(), c.isolation(q), c.notes(q)
	for _, celsius := range q.Celsius {
		for _, a := range currents {
			ch.Cases = append(ch.Cases, c.caseAt(a, celsius, q))
		}
	}
	return ch
}

func (c *Candidate) rate(q Question) float64 {
	if c.RateHertz > 0 {
		return c.RateHertz
	}
	return q.RateHertz
}

func (c *Candidate) caseAt(current, celsius float64, q Question) Case {
	effects := c.effects(current, celsius, q.Years)
	of, stated := table(effects, current)
	out := Case{Amperes: current, Celsius: celsius, StatedAmperes: stated.Combined(), CombinedAmperes: of.Combined(), OutOfRange: !c.Sensor.Reads(current)}
	out.EffectiveDegreesOfFreedom = finite(of.EffectiveDegreesOfFreedom())
	out.CoverageFactor, out.ExpandedAmperes = of.Coverage(q.Probability), of.Expanded(q.Probability)
	for i, line := range of {
		out.Lines = append(out.Lines, Line{line.Source, line.Value, line.Unit, line.Distribution.String(), line.Divisor, line.Sensitivity, line.Amount(),
			finite(line.DegreesOfFreedom), of.Share(i), effects[i].stated})
	}
	out.Charge = c.charge(effects, current, q)
	return out
}

// table makes the budget of a reading, and that of its stated lines alone.
func table(effects []effect, current float64) (all, stated budget.Budget) {
	for _, e := range effects {
		line := e.At(current)
		if all = append(all, line); e.stated {
			stated = append(stated, line)
		}
	}
	return all, stated
}

// expanded is the expanded uncertainty of a reading.
func (c *Candidate) expanded(current, celsius float64, q Question) float64 {
	all, _ := table(c.effects(current, celsius, q.Years), current)
	return all.Expanded(q.Probability)
}

func finite(v float64) *float64 {
	if math.IsInf(v, 0) || math.IsNaN(v) {
		return nil
	}
	return &v
}

// notes tell what the figures do not hold.
func (c *Candidate) notes(q Question) (notes []string) {
	add := func(applies bool, format string, values ...any) {
		if applies {
			notes = append(notes, fmt.Sprintf(format, values...))
		}
	}
	add(c.Assumed, "no driver told of the converter: it is what the configuration says, and without counts if that says nothing")
	add(c.Channel.NoiseAmperes == 0, "noise_amperes is not stated: no noise is in the figures")
	add(c.Channel.ZeroUncertaintyAmperes == 0, "zero_uncertainty_amperes is not stated: the zero counts as exact, and the figures are too small")
	add(c.Channel.GainUncertaintyRatio == 0, "gain_uncertainty_ratio is not stated: the gain counts as exact, and the figures are too small")
	add(c.RateHertz == 0, "the driver states no rate: the noise of a charge is that of %.4g reading(s) a second", q.RateHertz)
	_, walks := c.walk()
	add(!walks, "nothing is stated of how the zero wanders: charges hold no walk; `ampledger stability` finds it in a log without current")
	add(c.Conductor.CapacityAmpereHours == 0, "capacity_ampere_hours is not stated: the net charge of a month is taken as current times time, and no marks are looked at")
	return notes
}
