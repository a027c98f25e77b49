package design

import "math"

// Point is the expanded uncertainty of a reading at a current.
type Point struct{ Amperes, ExpandedAmperes float64 }

// Curve gives the expanded uncertainty of a channel's readings over the current, at a temperature: from a thousandth of the end of its range, or of
// the greatest current asked for if it has none, up to it.
func (s *Study) Curve(channel int, celsius float64) (points []Point) {
	const steps, decades = 120, 3
	c := &s.candidates[channel]
	_, most := c.Sensor.Limits()
	if math.IsInf(most, 1) {
		most = 0
		for _, each := range s.Channels[channel].Cases {
			most = max(most, math.Abs(each.Amperes))
		}
	}
	for step := range steps + 1 {
		at := most * math.Pow(10, decades*(float64(step)/steps-1))
		points = append(points, Point{at, c.expanded(at, celsius, s.Question)})
	}
	return points
}

// ChargeCurve gives the uncertainty of a channel's charge from an hour to 30 days, at the current and temperature of one of its cases.
func (s *Study) ChargeCurve(channel, of int) (all []Charge) {
	const steps = 60
	c, at := &s.candidates[channel], s.Channels[channel].Cases[of]
	effects := c.effects(at.Amperes, at.Celsius, s.Question.Years)
	first, last := spans[0], spans[len(spans)-1]
	for step := range steps + 1 {
		all = append(all, c.chargeAfter(first*math.Pow(last/first, float64(step)/steps), effects, at.Amperes, s.Question))
	}
	return all
}
