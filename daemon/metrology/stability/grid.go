package stability

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

const (
	gapIntervals = 2.5  // longer than so many intervals without a reading is a gap
	jitterRatio  = 0.05 // intervals within this of the median count as even
)

// Grid is a log as evenly spaced values, and the account of how it was made so.
type Grid struct {
	IntervalSeconds float64
	Segments        []Segment
	Averaged        bool    // readings were averaged in buckets; else they stand as they were read
	Readings        int     // of the log
	LeftOut         int     // readings of segments too short to serve
	Bridged         int     // values put in where a bucket stayed empty
	Gaps            int     // stretches without readings
	GapSeconds      float64 // time in them
	CoveredSeconds  float64 // time between the readings outside of them
	LargestJitter   float64 // greatest departure of an interval from the median, outside gaps, as a ratio
	interval        int64   // by which gaps were told
}

// Segment is a part of a log without gap. Its slices may be those of the log.
type Segment struct {
	Amperes []float64
	Celsius []float64 // empty = none
}

// Evenly makes a grid of values that are evenly spaced already.
func Evenly(intervalSeconds float64, amperes ...[]float64) *Grid {
	g := &Grid{IntervalSeconds: intervalSeconds}
	for _, values := range amperes {
		g.Segments = append(g.Segments, Segment{Amperes: values})
		g.Readings += len(values)
		g.CoveredSeconds += intervalSeconds * float64(max(0, len(values)-1))
	}
	return g
}

// Arrange makes a grid of a sound log by the rules of the package comment. intervalSeconds of 0 is the log's median.
func Arrange(l *Log, intervalSeconds float64) (*Grid, error) {
	interval := int64(math.Round(intervalSeconds * 1e9))
	if intervalSeconds == 0 {
		interval = medianInterval(l.Nanos)
	}
	if interval < 1 || interval > math.MaxInt64/4 {
		return nil, fmt.Errorf("an interval of %g s is none to average over", intervalSeconds)
	}
	g := &Grid{Readings: len(l.Nanos), interval: interval}
	even := g.survey(l.Nanos, interval)
	g.Averaged = !even
	starts := segmentStarts(l.Nanos, interval)
	for i, from := range starts {
		to := len(l.Nanos)
		if i+1 < len(starts) {
			to = starts[i+1]
		}
		g.add(l, from, to, interval)
	}
	if len(g.Segments) == 0 {
		return nil, errors.New("no two readings follow one another without a gap")
	}
	return g, nil
}

// survey counts gaps and tells whether all else is even; then the spacing is the mean interval.
func (g *Grid) survey(nanos []int64, interval int64) (even bool) {
	even, within := true, 0
	shortest, longest := int64(math.MaxInt64), int64(0)
	for i := 1; i < len(nanos); i++ {
		d := nanos[i] - nanos[i-1]
		if isGap(d, interval) {
			g.Gaps++
			g.GapSeconds += seconds(d)
			continue
		}
		within++
		g.CoveredSeconds += seconds(d)
		shortest, longest = min(shortest, d), max(longest, d)
	}
	g.IntervalSeconds = seconds(interval)
	if within == 0 {
		return true
	}
	g.LargestJitter = max(math.Abs(1-float64(shortest)/float64(interval)), math.Abs(float64(longest)/float64(interval)-1))
	if even = g.LargestJitter <= jitterRatio; even {
		g.IntervalSeconds = g.CoveredSeconds / float64(within)
	}
	return even
}

// add takes the readings from one index to before another as a segment.
func (g *Grid) add(l *Log, from, to int, interval int64) {
	part := Log{Nanos: l.Nanos[from:to], Amperes: l.Amperes[from:to]}
	if len(l.Celsius) > 0 {
		part.Celsius = l.Celsius[from:to]
	}
	s := Segment{part.Amperes, part.Celsius}
	if g.Averaged {
		var bridged int
		s.Amperes, bridged = bucketMeans(part.Nanos, part.Amperes, interval)
		if len(part.Celsius) > 0 {
			s.Celsius, _ = bucketMeans(part.Nanos, part.Celsius, interval)
		}
		g.Bridged += bridged
	}
	if len(s.Amperes) < 2 {
		g.LeftOut += to - from
		return
	}
	g.Segments = append(g.Segments, s)
}

func isGap(nanos, interval int64) bool { return float64(nanos) > gapIntervals*float64(interval) }

// segmentStarts gives the index of the first reading of each segment.
func segmentStarts(nanos []int64, interval int64) []int {
	starts := []int{0}
	for i := 1; i < len(nanos); i++ {
		if isGap(nanos[i]-nanos[i-1], interval) {
			starts = append(starts, i)
		}
	}
	return starts
}

// medianInterval is the lower median of the times between readings.
func medianInterval(nanos []int64) int64 {
	intervals := make([]int64, len(nanos)-1)
	for i := range intervals {
		intervals[i] = nanos[i+1] - nanos[i]
	}
	slices.Sort(intervals)
	return intervals[(len(intervals)-1)/2]
}

// bucketMeans averages readings in buckets of one interval, the first centred on the first reading, and bridges those left empty.
func bucketMeans(nanos []int64, values []float64, interval int64) (means []float64, bridged int) {
	at, sum, count := int64(0), 0.0, 0
	for i, v := range values {
		bucket := (nanos[i] - nanos[0] + interval/2) / interval
		if bucket != at {
			means = append(means, sum/float64(count))
			bridged += int(bucket - at - 1)
			means = bridge(means, int(bucket-at-1))
			at, sum, count = bucket, 0, 0
		}
		sum += v
		count++
	}
	means = append(means, sum/float64(count))
	straighten(means)
	return means, bridged
}
