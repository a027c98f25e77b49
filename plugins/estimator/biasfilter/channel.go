package biasfilter

import (
	"math"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// channel is one channel as the filter follows it.
type channel struct {
	figures
	memory
	name   string
	at     layout
	offset []term // b, k and h with their newest regressors: the offset
	rest   []term // the same, ρ and ε: what a rest measures
	charge []term // b, k, h and g with what each adds to B
	now    reading
	share  share // in the fused current of the newest summary
}

// memory is what of a channel outlives a summary, beside the filter's states.
type memory struct {
	Begun     bool      `json:"begun"` // the three below are known
	Sequence  uint64    `json:"sequence"`
	First     int64     `json:"first_nanos"` // of the newest summary
	Last      int64     `json:"last_nanos"`
	Referred  bool      `json:"referred"` // the reference is known
	Reference float64   `json:"reference_celsius"`
	Regressor []float64 `json:"regressors"` // T − T₀ and z, the newest
	Moved     []float64 `json:"moved"`      // by how much each changed with the newest summary
	Held      []float64 `json:"held"`       // z when the rest began
	Blind     bool      `json:"blind"`      // operators were asked for and not given
	Age       float64   `json:"age_seconds"`
	Current   float64   `json:"current_amperes"` // newest mean, less the offset
	Resting   resting   `json:"resting"`
	Unchecked float64   `json:"unchecked_seconds"` // integrated since the newest rest believed
	Weighed   float64   `json:"weighed_seconds"`   // and in the fused current
	Span      span      `json:"span"`
	Window    window    `json:"window"`
}

// reading is what one summary says of a channel.
type reading struct {
	known    bool    // there is a mean that can be used
	mean     float64 // amperes
	variance float64 // of the mean as independent readings make it, A²
	scatter  float64 // variance of the readings, A²
	count    float64
	coulombs float64 // R; seconds without it: not known
	integral bool    // R is known
	seconds  float64 // D
	span     float64 // first to last scan
	hole     float64 // seconds of which the integral only bridges, before the first reading
	apart    float64 // seconds by which the time since the summary before exceeds D
	back     bool    // time ran backwards before it
	follows  bool    // on the summary before, without a hole
	whole    bool    // every reading was usable, and the integral is of this summary alone
	least    float64 // reading
	greatest float64
	noise    float64 // variance of the mean as the channel's own noise makes it, A²
}

func newChannel(c *plugin.Channel, d *declaration, at int) *channel {
	made := &channel{name: c.GetName(), figures: newFigures(c, d)}
	m := len(made.plays)
	made.at = newLayout(at, m)
	made.memory = memory{Regressor: make([]float64, 1+m), Moved: make([]float64, 1+m), Held: make([]float64, m), Window: window{Regressor: make([]float64, 2+m)}}
	if made.reference != nil {
		made.Referred, made.Reference = true, *made.reference
	}
	for i := range 2 + m {
		made.offset = append(made.offset, term{at: made.at.zero + i})
	}
	made.offset[0].by = 1
	made.charge = append(append(made.charge, made.offset...), term{at: made.at.gain})
	return made
}

// take reads a summary.
func (c *channel) take(s *plugin.Summary, of *plugin.ChannelSummary) {
	c.now = reading{span: max(0, float64(s.GetLastMonotonicNanos()-s.GetFirstMonotonicNanos())*1e-9)}
	n := &c.now
	if d := of.GetIntegralSeconds(); d > 0 && finite(d) {
		n.seconds = d
		n.coulombs, n.integral = of.GetIntegralCoulombs(), finite(of.GetIntegralCoulombs())
	}
	if !n.integral {
		n.coulombs = 0
	}
	n.count, n.mean, n.scatter = float64(of.GetReadingCount()), of.GetMeanAmperes(), of.GetVarianceSquareAmperes()
	n.known = n.count > 0 && finite(n.mean) && n.scatter >= 0 && finite(n.scatter)
	if n.known {
		n.noise = c.noise * c.noise / n.count
		n.variance = max(n.noise, n.scatter/n.count)
	}
	n.least, n.greatest = of.GetMinimumAmperes(), of.GetMaximumAmperes()
	n.whole = n.known && n.integral && of.GetUnusableCount() == 0 && finite(n.least) && finite(n.greatest)
	c.follow(s)
	c.regress(of)
}

// follow keeps the clock. Where time runs backwards a new time base has begun; how long that took is not known, and nothing is added.
func (c *channel) follow(s *plugin.Summary) {
	first, last := s.GetFirstMonotonicNanos(), s.GetLastMonotonicNanos()
	n := &c.now
	onward := c.Begun && first >= c.Last
	n.back = c.Begun && !onward
	n.follows = onward && s.GetFirstSequence() == c.Sequence+1
	elapsed := n.span
	if onward {
		elapsed = max(0, float64(last-c.Last)*1e-9)
	}
	n.apart = max(0, elapsed-n.seconds)
	n.hole = n.seconds - n.span - n.span/max(1, n.count-1)
	n.whole = n.whole && n.seconds <= elapsed+1e-6 // else the integral bridges a gap that began before
	c.Age += max(elapsed, n.seconds)
	c.Begun, c.Sequence, c.First, c.Last = true, s.GetLastSequence(), first, last
}

// regress takes the regressors: T − T₀ and z. One that is not known stays as it was.
func (c *channel) regress(of *plugin.ChannelSummary) {
	clear(c.Moved)
	if t := of.GetTemperatureCelsius(); of.GetTemperatureKnown() && t >= lowest && finite(t) {
		if !c.Referred {
			c.Referred, c.Reference = true, t
		}
		c.move(0, t-c.Reference)
	}
	z := of.GetPlayMeanRatios()
	c.Blind = len(z) != len(c.plays)
	if !c.Blind && c.now.known {
		for i, v := range z {
			if math.Abs(v) <= 1+1e-9 {
				c.move(1+i, v)
			}
		}
	}
}

func (c *channel) move(i int, to float64) {
	c.Moved[i] = to - c.Regressor[i]
	c.Regressor[i], c.offset[1+i].by = to, to
}

// integrate adds the correction over some seconds whose raw integral is coulombs to B, and a share's to the fused charge, the zero walking
// all the while.
func (c *channel) integrate(f *filter, seconds, coulombs float64, known bool, of share) {
	c.add(f, c.at.charge, seconds, coulombs, known)
	if of.seconds == 0 {
		f.walk(c.at.zero, c.density, seconds, term{c.at.charge, 1})
		return
	}
	c.add(f, c.at.fused, of.seconds, of.coulombs, true)
	f.walk(c.at.zero, c.density, seconds, term{c.at.charge, 1}, term{c.at.fused, of.seconds / max(seconds, of.seconds)})
}

// add integrates the correction as it is now: a charge += ∫(b + k(T−T₀) + Σhz)dt + g·(what flowed, as far as is known).
func (c *channel) add(f *filter, charge int, seconds, coulombs float64, known bool) {
	offset, _ := f.value(c.offset)
	for i, a := range c.offset {
		c.charge[i].by = a.by * seconds
	}
	flowed := 0.0
	if known {
		flowed = coulombs - offset*seconds
	}
	c.charge[len(c.offset)].by = flowed
	f.couple(charge, c.charge)
}

// load treats the summary as one in which current flowed.
func (c *channel) load(f *filter) {
	n := &c.now
	f.walk(c.at.zero, c.density, n.apart)
	c.integrate(f, n.seconds, n.coulombs, n.integral, c.share)
	c.Span.add(n, true)
}

// leaveUnchecked counts the summary as one that no rest has checked yet.
func (c *channel) leaveUnchecked() {
	c.Unchecked += c.now.seconds
	c.Weighed += c.share.seconds
}

// notice keeps what flowed.
func (c *channel) notice(f *filter) {
	if c.now.known {
		offset, _ := f.value(c.offset)
		c.Current = c.now.mean - offset
	}
}

// unseen is the variance of the offset over the next summary that the newest regressors do not show: they are taken to move on by as much
// as they just did, (h² of what is known)·Δz² each.
func (c *channel) unseen(f *filter) (variance float64) {
	for i, moved := range c.Moved {
		at := c.offset[1+i].at
		variance += moved * moved * (f.x[at]*f.x[at] + f.p[at*f.n+at])
	}
	return variance
}
