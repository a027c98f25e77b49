package fixedzero

import (
	"math"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// zero is what is known of one channel.
type zero struct {
	Offset      float64 `json:"offset_amperes"`
	Uncertainty float64 `json:"uncertainty_amperes"` // when it was taken
	Found       bool    `json:"found"`               // taken from a rest

	walk   float64 // A/√s
	since  int64   // monotonic time the uncertainty holds at
	dated  bool    // since is known
	rest   rest
	resume bool // the rest going on is the one the zero was taken from
}

// rest gathers the summaries of one rest.
type rest struct {
	begun     bool
	first     int64 // monotonic time of its first scan
	summaries int
	mean      float64 // of the summaries' means
	squares   float64 // summed squared differences from it
	noise     float64 // greatest variance of a summary's mean, taking its readings as independent
}

func newZero(c *plugin.Channel, s *settings) *zero {
	z := &zero{Uncertainty: c.GetZeroUncertaintyAmperes(), walk: s.WalkAmperesPerRootHour / 60}
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
	if !z.dated {
		z.since, z.dated = summary.GetFirstMonotonicNanos(), true
	}
	if !resting {
		z.rest, z.resume = rest{}, false
		return
	}
	if c.GetReadingCount() == 0 {
		return
	}
	z.rest.add(summary, c)
	wanted := s.Zero == fromEachRest || !z.Found || z.resume
	if wanted && float64(summary.GetLastMonotonicNanos()-z.rest.first)*1e-9 >= s.MinimumRestSeconds {
		z.Offset, z.Uncertainty = z.rest.mean, math.Hypot(z.rest.uncertainty(), s.ResidualAmperes)
		z.Found, z.resume, z.since = true, true, summary.GetLastMonotonicNanos()
	}
}

// add takes a summary's mean (Welford 1962, running mean and squares).
func (r *rest) add(summary *plugin.Summary, c *plugin.ChannelSummary) {
	if !r.begun {
		r.begun, r.first = true, summary.GetFirstMonotonicNanos()
	}
	r.summaries++
	d := c.GetMeanAmperes() - r.mean
	r.mean += d / float64(r.summaries)
	r.squares += d * (c.GetMeanAmperes() - r.mean)
	r.noise = max(r.noise, c.GetVarianceSquareAmperes()/float64(c.GetReadingCount()))
}

// uncertainty of the mean. The scatter of few summaries says little, so it is never taken to be less than their noise allows.
func (r *rest) uncertainty() float64 {
	n := float64(r.summaries)
	scatter := 0.0
	if r.summaries > 1 {
		scatter = r.squares / (n - 1)
	}
	return math.Sqrt(max(scatter, r.noise) / n)
}

func (z *zero) estimate(channel string, now int64) *plugin.ChannelEstimate {
	return &plugin.ChannelEstimate{
		Name: channel, OffsetAmperes: z.Offset, StandardUncertaintyAmperes: aged(z.Uncertainty, z.walk, now-z.since),
		WalkAmperesPerRootSecond: z.walk,
	}
}
