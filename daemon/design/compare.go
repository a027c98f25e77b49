package design

import "math"

// Comparison holds channels of one conductor, or the only channels of several, against each other.
type Comparison struct {
	Channels    []string `json:"channels"`    // with the conductor's name before a slash where there are several conductors
	Segments    []Best   `json:"segments"`    // which is the surest where
	Conclusions []string `json:"conclusions"` // in words, from the figures of the study
}

// Best is a span of currents, in magnitude, in which one channel is the surest of those that read them.
type Best struct {
	Celsius      float64  `json:"celsius"`
	FromAmperes  float64  `json:"from_amperes"`
	ToAmperes    float64  `json:"to_amperes"`
	Channel      string   `json:"channel"`
	AtAmperes    float64  `json:"at_amperes"`       // a current in the middle of the span
	Expanded     float64  `json:"expanded_amperes"` // its expanded uncertainty there
	NextChannel  string   `json:"next_channel"`     // the second surest there; empty = no other reads such a current
	NextExpanded *float64 `json:"next_expanded_amperes"`

	best int // index in the group
}

// group is what is compared.
type group struct {
	study   *Study
	members []int // indices of candidates
	names   []string
}

// compare makes the comparisons: of each conductor with several channels, or, if none has, of all of them.
func (s *Study) compare() (all []Comparison) {
	for _, g := range s.groups() {
		c := Comparison{Channels: g.names}
		for _, celsius := range s.Question.Celsius {
			c.Segments = append(c.Segments, g.segments(celsius)...)
		}
		c.Conclusions = g.conclude(c.Segments)
		all = append(all, c)
	}
	return all
}

func (s *Study) groups() (all []group) {
	last := map[string]int{}
	for i := range s.candidates {
		name := s.candidates[i].Conductor.Name
		at, found := last[name]
		if !found {
			at, all = len(all), append(all, group{study: s})
			last[name] = at
		}
		all[at].members = append(all[at].members, i)
		all[at].names = append(all[at].names, s.candidates[i].Channel.Name)
	}
	several := all[:0:0]
	for _, g := range all {
		if len(g.members) > 1 {
			several = append(several, g)
		}
	}
	if len(several) > 0 || len(all) < 2 {
		return several
	}
	everyone := group{study: s}
	for i := range s.candidates {
		everyone.members = append(everyone.members, i)
		everyone.names = append(everyone.names, s.candidates[i].Conductor.Name+"/"+s.candidates[i].Channel.Name)
	}
	return []group{everyone}
}

const (
	scanSteps  = 400
	scanRange  = 1e4 // from the greatest current down to so much less of it
	bisections = 50
)

// reach is the greatest current that any of them reads; where no limit is known, one and a half times the greatest current asked for.
func (g group) reach() (most float64) {
	for _, i := range g.members {
		_, high := g.study.candidates[i].Sensor.Limits()
		if math.IsInf(high, 1) {
			high = 0
		}
		most = max(most, high)
	}
	for _, a := range g.study.usual(g.members) {
		if most == 0 || math.Abs(a) > most {
			most = 1.5 * math.Abs(a)
		}
	}
	return most
}

// order is what may change from one current to another.
type order struct {
	best    int // the surest channel by its place in the group; −1 = none reads the current
	readers int // how many read it
}

func (g group) order(current, celsius float64) order {
	o, least := order{best: -1}, math.Inf(1)
	for k, i := range g.members {
		c := &g.study.candidates[i]
		if !c.told() || !c.Sensor.Reads(current) {
			continue
		}
		o.readers++
		if u := c.expanded(current, celsius, g.study.Question); u < least {
			o.best, least = k, u
		}
	}
	return o
}

// segments scans the currents and finds where the surest changes, or another stops reading.
func (g group) segments(celsius float64) (all []Best) {
	most := g.reach()
	from, held, before := 0.0, g.order(0, celsius), 0.0
	for step := range scanSteps + 1 {
		at := most * math.Pow(scanRange, float64(step)/scanSteps-1)
		if now := g.order(at, celsius); now != held {
			edge := g.edge(before, at, held, celsius)
			all = g.add(all, from, edge, held.best, celsius)
			from, held = edge, now
		}
		before = at
	}
	return g.add(all, from, most, held.best, celsius)
}

// edge finds where an order ends.
func (g group) edge(low, high float64, held order, celsius float64) float64 {
	for range bisections {
		if middle := (low + high) / 2; g.order(middle, celsius) == held {
			low = middle
		} else {
			high = middle
		}
	}
	return high
}

func (g group) add(all []Best, from, to float64, best int, celsius float64) []Best {
	if best < 0 || !(to > from) {
		return all
	}
	b := Best{Celsius: celsius, FromAmperes: from, ToAmperes: to, Channel: g.names[best], AtAmperes: from + (to-from)/2, best: best}
	if from == 0 {
		b.AtAmperes = to / 10
	}
	b.Expanded = g.expanded(best, b.AtAmperes, celsius)
	least := math.Inf(1)
	for k, i := range g.members {
		if u := g.expanded(k, b.AtAmperes, celsius); k != best && g.study.candidates[i].told() && g.study.candidates[i].Sensor.Reads(b.AtAmperes) && u < least {
			least = u
			b.NextChannel, b.NextExpanded = g.names[k], finite(u)
		}
	}
	return append(all, b)
}

// expanded is the expanded uncertainty of a reading.
func (g group) expanded(member int, current, celsius float64) float64 {
	return g.study.candidates[g.members[member]].expanded(current, celsius, g.study.Question)
}
