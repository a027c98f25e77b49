package biasfilter

import (
	"math"
	"math/rand/v2"

	"github.com/ampledger/ampledger/plugins/plugin"
	pluginv1 "github.com/ampledger/ampledger/proto/ampledger/plugin/v1"
)

// truth is one sensor and the duty of its conductor, drawn anew for each seed: what the filter knows only the distributions of.
type truth struct {
	zero, walk, drift, gain, hysteresis, noise, floor, residual float64   // standard deviations; walk in A/√s
	widths                                                      []float64 // of its play operators, amperes
	foreign                                                     bool      // draw them anew, between 5 A and 200 A
}

const (
	summarySeconds = 10.0
	readings       = 100
	day            = 86400.0
	fullScale      = 300.0
)

// simulation makes one summary after the other and keeps the books of what really flowed.
type simulation struct {
	truth
	random     *rand.Rand
	b, k, g    float64
	h          []float64
	rho, eps   float64
	standing   float64
	time       float64
	rests      float64 // share of the time
	resting    bool
	always     bool // never rests
	current    float64
	wander     float64
	segment    float64
	moved      float64 // true charge
	phase      float64
	warm       float64
	plays      []float64 // of the truth, by the true current
	seen       []float64 // of the daemon, by the readings
	seenWidths []float64
	count      uint64

	excess float64 // true B: what the raw integral is too large by, the noise under load left out
	known  float64 // the part of it that comes of k, h and g
	last   float64 // offset without b in the last summary
	out    *plugin.Summary
	cs     *plugin.ChannelSummary
}

func newSimulation(seed uint64, of truth, seenWidths []float64) *simulation {
	s := &simulation{truth: of, random: rand.New(rand.NewPCG(seed, 7)), seenWidths: seenWidths}
	s.b, s.k, s.g = of.zero*s.random.NormFloat64(), of.drift*s.random.NormFloat64(), of.gain*s.random.NormFloat64()
	s.standing = of.residual * math.Sqrt(standingShare) * s.random.NormFloat64()
	for range of.widths {
		s.h = append(s.h, of.hysteresis/math.Sqrt(float64(len(of.widths)))*s.random.NormFloat64())
	}
	if of.foreign {
		s.widths = nil
		for range of.widths {
			s.widths = append(s.widths, 5*math.Pow(40, s.random.Float64()))
		}
	}
	s.plays, s.seen = make([]float64, len(of.widths)), make([]float64, len(seenWidths))
	s.rests, s.phase, s.segment = 0.04+0.08*s.random.Float64(), 2*math.Pi*s.random.Float64(), 80*s.random.NormFloat64()
	s.cs = &plugin.ChannelSummary{
		Name: "main", ReadingCount: readings, IntegralSeconds: summarySeconds, TemperatureKnown: true, PlayMeanRatios: make([]float64, len(seenWidths)),
	}
	s.out = &plugin.Summary{Device: "daq", Channels: []*plugin.ChannelSummary{s.cs}}
	return s
}

// drive settles whether the conductor rests and what flows.
func (s *simulation) drive() {
	const meanRest = 600.0
	switch stays := s.random.Float64(); {
	case s.resting && stays < summarySeconds/meanRest:
		s.resting, s.segment = false, 80*s.random.NormFloat64()
	case !s.resting && !s.always && stays < summarySeconds/meanRest*s.rests/(1-s.rests):
		s.resting = true
		s.rho, s.eps = s.standing+s.residual*math.Sqrt(1-standingShare)*s.random.NormFloat64(), s.floor*s.random.NormFloat64()
	}
	s.wander += -s.wander*summarySeconds/300 + 40*math.Sqrt(2*summarySeconds/300)*s.random.NormFloat64()
	s.warm += -s.warm*summarySeconds/20000 + 2*math.Sqrt(2*summarySeconds/20000)*s.random.NormFloat64()
	s.current = s.rho
	if !s.resting {
		s.current = s.segment*math.Cos(2*math.Pi*s.time/7200+s.phase) + s.wander - s.moved/20000
		s.current = max(-fullScale, min(fullScale, s.current))
	}
}

func play(position []float64, widths []float64, current float64, i int) float64 {
	position[i] = max(current-widths[i], min(current+widths[i], position[i]))
	return (current - position[i]) / widths[i]
}

// next gives the next summary, which is used again.
func (s *simulation) next() *plugin.Summary {
	s.drive()
	const d = summarySeconds
	warm := 8*math.Sin(2*math.Pi*s.time/day+s.phase) + s.warm
	offset := s.k * warm
	for i := range s.widths {
		offset += s.h[i] * play(s.plays, s.widths, s.current, i)
	}
	offset += s.g * s.current
	// b at the end of the summary and its mean over it, exactly: cov of step and mean is q·d/2, var of the mean q·d/3.
	step, rest := s.walk*math.Sqrt(d)*s.random.NormFloat64(), s.walk*math.Sqrt(d/12)*s.random.NormFloat64()
	b := s.b + step/2 + rest
	s.b += step
	noise := s.noise / math.Sqrt(readings) * s.random.NormFloat64()
	mean := s.current + b + offset + noise
	if s.resting {
		mean += s.eps
	}
	s.time += d
	s.moved += s.current * d
	s.known += offset * d
	s.excess += (b + offset) * d
	if s.resting { // what the books hold is then known, with noise and all
		s.excess += noise*d + s.eps*d
	}
	s.last = offset
	s.fill(mean, warm)
	return s.out
}

func (s *simulation) fill(mean, warm float64) {
	c := s.cs
	c.MeanAmperes, c.IntegralCoulombs = mean, mean*summarySeconds
	c.VarianceSquareAmperes, c.MinimumAmperes, c.MaximumAmperes = s.noise*s.noise, mean-3*s.noise, mean+3*s.noise
	c.TemperatureCelsius = 25 + warm
	for i := range s.seenWidths {
		c.PlayMeanRatios[i] = play(s.seen, s.seenWidths, mean, i)
	}
	s.out.Rest = pluginv1.Rest_REST_NONE
	if s.resting {
		s.out.Rest = pluginv1.Rest_REST_CERTAIN
	}
	s.out.FirstSequence, s.out.LastSequence = s.count*readings, s.count*readings+readings-1
	s.out.FirstMonotonicNanos = int64(s.count)*int64(summarySeconds*1e9) + 1e8
	s.out.LastMonotonicNanos = int64(s.count+1) * int64(summarySeconds*1e9)
	s.count++
}

// tell takes from a summary what k, h and g did to it, as only an oracle can.
func (s *simulation) tell(to *plugin.Summary, c *plugin.ChannelSummary) {
	mean := s.cs.MeanAmperes - s.last
	c.MeanAmperes, c.IntegralCoulombs = mean, mean*summarySeconds
	to.Rest, to.FirstSequence, to.LastSequence = s.out.Rest, s.out.FirstSequence, s.out.LastSequence
	to.FirstMonotonicNanos, to.LastMonotonicNanos = s.out.FirstMonotonicNanos, s.out.LastMonotonicNanos
}
