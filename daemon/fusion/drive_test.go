package fusion_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/ampledger/ampledger/daemon/fusion"
	"github.com/ampledger/ampledger/daemon/scan"
)

// instrument is a channel with its true errors.
type instrument struct {
	zero, gain float64 // amperes, ratio
	limit      float64 // amperes at which it saturates
}

// reads gives what it reads of a true current.
func (i instrument) reads(current float64) float64 { return i.zero + (1+i.gain)*current }

// drive is a current through instruments that are weighed each summary.
type drive struct {
	instruments  []instrument
	parts        []fusion.Part
	summaryScans int
	noise        *rand.Rand // nil = none
}

// point is one scan of it.
type point struct {
	current, fused         float64
	noise, zero, gain      float64 // stated
	used                   uint
	reads                  []float64
	summaryBegins, present bool
}

// total is the uncertainty stated at the current, noise left out.
func (p point) total() float64 { return math.Hypot(p.zero, p.gain*p.current) }

// run takes a current through a stage, a summary a batch.
func (d *drive) run(t *testing.T, current []float64) (points []point) {
	t.Helper()
	s := fusion.New(len(d.parts), 0)
	for from := 0; from < len(current); from += d.summaryScans {
		s.Weigh(d.parts)
		span := current[from:min(len(current), from+d.summaryScans)]
		batch := d.read(uint64(from), span)
		for _, r := range apply(t, s, batch...) {
			for k, fused := range r.Amperes {
				at := int(r.Sequence) + k - from
				p := point{
					current: span[at], fused: fused, noise: r.NoiseAmperes, zero: r.ZeroAmperes, gain: r.GainRatio,
					summaryBegins: at == 0, present: r.QualityAt(k) == 0,
				}
				for i := range batch {
					if batch[i].QualityAt(at) == 0 {
						p.used |= 1 << i
					}
					p.reads = append(p.reads, batch[i].Amperes[at])
				}
				points = append(points, p)
			}
		}
	}
	return points
}

// read makes what the instruments read.
func (d *drive) read(sequence uint64, current []float64) (batch []*scan.Readings) {
	for i, instrument := range d.instruments {
		r := channel(sequence, make([]float64, len(current))...)
		for k, a := range current {
			r.Amperes[k] = instrument.reads(a)
			if d.noise != nil {
				r.Amperes[k] += d.parts[i].NoiseAmperes * d.noise.NormFloat64()
			}
		}
		for k, a := range current {
			if math.Abs(a) >= instrument.limit {
				r.Amperes[k] = math.Copysign(instrument.limit, a)
				flag(r, k, scan.Saturated)
			}
		}
		settle(r)
		batch = append(batch, r)
	}
	return batch
}

// triangle goes from a current up to another and back, so many times, in steps.
func triangle(base, peak, step float64, times int) (current []float64) {
	for range times {
		for a := base; a < peak; a += step {
			current = append(current, a)
		}
		for a := peak; a > base; a -= step {
			current = append(current, a)
		}
	}
	return current
}

// constant is a current that does not change.
func constant(amperes float64, scans int) []float64 {
	current := make([]float64, scans)
	for k := range current {
		current[k] = amperes
	}
	return current
}
