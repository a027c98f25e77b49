package fixedzero

import (
	"errors"
	"fmt"
	"math"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// zero is what is known of one channel.
type zero struct {
	Offset      float64 `json:"offset_amperes"`
	Uncertainty float64 `json:"uncertainty_amperes"` // when it was taken
	Found       bool    `json:"found"`               // taken from a rest
	Age         int64   `json:"age_nanos"`           // since it was taken, or since the first summary
	Begun       bool    `json:"begun"`               // there was a summary
	Last        int64   `json:"last_nanos"`          // monotonic time of the newest scan
	Sequence    uint64  `json:"sequence"`            // of the newest scan
	Rest        rest    `json:"rest"`                // the one going on
	Resume      bool    `json:"resume"`              // it is the one the zero was taken from

	walk  float64 // A/√s
	noise float64 // amperes, of one reading, as the sensor states it
}

// rest gathers the summaries of one rest.
type rest struct {
	Begun        bool    `json:"begun"`
	First        int64   `json:"first_nanos"`                     // monotonic time of its first scan
	Readings     float64 `json:"readings"`                        // Σn
	SquaredCount float64 `json:"squared_count"`                   // Σn²
	Mean         float64 `json:"mean_amperes"`                    // of the readings
	Squares      float64 `json:"squares_square_amperes"`          // Σn·(difference of a summary's mean from it)²
	Within       float64 `json:"within_summaries_square_amperes"` // Σn·(variance of a summary's readings)
}

func newZero(c *plugin.Channel, s *settings) *zero {
	z := &zero{Uncertainty: c.GetZeroUncertaintyAmperes(), noise: c.GetNoiseAmperes(), walk: s.WalkAmperesPerRootHour / 60}
	if d := s.Channels[c.GetName()]; d != nil {
		z.Offset = d.OffsetAmperes
		if d.UncertaintyAmperes != nil {
			z.Uncertainty = *d.UncertaintyAmperes
		}
		if d.WalkAmperesPerRootHour != nil {
			z.walk = *d.WalkAmperesPerRootHour / 60
		}
	}
	return z
}

// observe takes one summary; resting says that no current flowed in it.
func (z *zero) observe(summary *plugin.Summary, c *plugin.ChannelSummary, resting bool, s *settings) {
	if follows := z.advance(summary); !follows || !resting {
		z.Rest, z.Resume = rest{}, false
	}
	if !resting || c.GetReadingCount() == 0 || !z.Rest.add(summary, c, z.noise) {
		return
	}
	wanted := s.Zero == fromEachRest || !z.Found || z.Resume
	if wanted && float64(z.Last-z.Rest.First)*1e-9 >= s.MinimumRestSeconds {
		z.Offset, z.Uncertainty = z.Rest.Mean, math.Hypot(z.Rest.uncertainty(), s.ResidualAmperes)
		z.Found, z.Resume, z.Age = true, true, 0
	}
}

// advance lets the zero age over a summary and tells whether it follows on the one before without a hole. Where time runs backwards a new
// time base has begun, and how long that took is not known: only the summary itself counts.
func (z *zero) advance(summary *plugin.Summary) (follows bool) {
	first, last := summary.GetFirstMonotonicNanos(), summary.GetLastMonotonicNanos()
	onward := z.Begun && first >= z.Last
	follows = onward && summary.GetFirstSequence() == z.Sequence+1
	from := first
	if onward {
		from = z.Last
	}
	z.Age += min(max(0, last-from), math.MaxInt64-z.Age)
	z.Begun, z.Last, z.Sequence = true, last, summary.GetLastSequence()
	return follows
}

// add takes a summary's mean, weighted by its readings (West 1979, running mean and squares with weights). noise stands in for the scatter of
// a single reading. A summary that would leave no finite figures is not taken.
func (r *rest) add(summary *plugin.Summary, c *plugin.ChannelSummary, noise float64) (taken bool) {
	next := *r
	if !r.Begun {
		next.Begun, next.First = true, summary.GetFirstMonotonicNanos()
	}
	n, variance := float64(c.GetReadingCount()), c.GetVarianceSquareAmperes()
	if n < 2 {
		variance = noise * noise
	}
	next.Readings += n
	next.SquaredCount += n * n
	d := c.GetMeanAmperes() - r.Mean
	next.Mean += d * (n / next.Readings)
	next.Squares += n * d * (c.GetMeanAmperes() - next.Mean)
	next.Within += n * variance
	if next.check() != nil {
		return false
	}
	*r = next
	return true
}

// check tells what no rest that has begun can hold.
func (r *rest) check() error {
	figures := r.Mean - r.Mean + r.Squares + r.Within
	if !(r.Readings > 0 && r.SquaredCount > 0 && r.Squares >= 0 && r.Within >= 0) || figures-figures != 0 {
		return fmt.Errorf("rest of %g readings with mean %g A", r.Readings, r.Mean)
	}
	return nil
}

// uncertainty of the mean. The scatter of few summaries says little, so it is never taken to be less than their noise allows.
func (r *rest) uncertainty() float64 {
	noise := math.Sqrt(r.Within) / r.Readings
	summaries := r.Readings * r.Readings / r.SquaredCount // as many of equal length would weigh the same
	if summaries <= 1 {
		return noise
	}
	return max(noise, math.Sqrt(r.Squares/r.Readings/(summaries-1)))
}

func (z *zero) estimate(channel string) *plugin.ChannelEstimate {
	return &plugin.ChannelEstimate{
		Name: channel, OffsetAmperes: z.Offset, WalkAmperesPerRootSecond: z.walk,
		StandardUncertaintyAmperes: math.Hypot(z.Uncertainty, z.walk*math.Sqrt(float64(z.Age)*1e-9)),
	}
}

// check tells what no snapshot of this estimator can hold.
func (z *zero) check() error {
	switch {
	case z == nil:
		return errors.New("nothing is known of it")
	case z.Uncertainty < 0 || z.Age < 0:
		return fmt.Errorf("uncertainty %g A, age %d ns", z.Uncertainty, z.Age)
	case z.Rest.Begun:
		return z.Rest.check()
	}
	return nil
}

// takeOver continues from a snapshot. What no rest has taught is continued only if it is what is declared now.
func (z *zero) takeOver(kept *zero, onlyDeclared bool) {
	if kept.Found && onlyDeclared || !kept.Found && (kept.Offset != z.Offset || kept.Uncertainty != z.Uncertainty) {
		return
	}
	walk, noise := z.walk, z.noise
	*z = *kept
	z.walk, z.noise = walk, noise
}
