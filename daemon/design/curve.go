package design

import "math"

// Point is the expanded uncertainty of a reading at a current.
type Point struct{ Amperes, ExpandedAmperes float64 }

// Curve gives the expanded uncertainty of a channel's readings over the current, at a temperature: from a thousandth of the end of its range, or of the greatest current asked for if it has none, up to it.
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
