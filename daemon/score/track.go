package score

import (
	"math"

	"github.com/ampledger/ampledger/daemon/pipeline"
	"github.com/ampledger/ampledger/daemon/scan"
)

// samples are the newest readings of one truth.
type samples struct {
	sequence uint64
	amperes  []float64
	quality  []scan.Quality
}

func (s *samples) take(r *scan.Readings) {
	s.sequence = r.Sequence
	s.amperes = append(s.amperes[:0], r.Amperes...)
	s.quality = append(s.quality[:0], r.Quality...)
}

// at gives reading k if it can be used.
func (s *samples) at(k int) (amperes float64, usable bool) {
	return s.amperes[k], len(s.quality) == 0 || s.quality[k] == 0
}

// matches tells whether the samples are of the same scans as readings.
func (s *samples) matches(r *scan.Readings) bool {
	return s.sequence == r.Sequence && len(s.amperes) == r.Len()
}

// sums gathers squares.
type sums struct {
	count  float64
	square float64
}

func (s *sums) add(v float64) {
	s.count++
	s.square += v * v
}

func (s *sums) rms() float64 {
	if s.count == 0 {
		return 0
	}
	return math.Sqrt(s.square / s.count)
}

// track follows one channel of one variant.
type track struct {
	score      Score
	sign       float64  // of the readings, as against the truth's
	offset     *samples // the true offset; nil = not known
	offsetSign float64
	current    sums
	offsets    sums
	ratios     sums
	newest     scan.Readings // offset and uncertainty of the newest span; no slices
	trueOffset float64       // mean over it
	trace      trace
}

// see compares readings with the truth.
func (t *track) see(r *scan.Readings, truth *samples) {
	t.newest.Estimate, t.newest.ZeroAmperes = r.Estimate, r.ZeroAmperes
	if truth.matches(r) {
		for k, y := range r.Amperes {
			if flows, usable := truth.at(k); usable && r.QualityAt(k) == 0 {
				t.current.add(y - t.sign*flows)
			}
		}
	}
	t.seeOffset(r)
}

func (t *track) seeOffset(r *scan.Readings) {
	if t.offset == nil || !t.offset.matches(r) {
		t.trueOffset = math.NaN()
		return
	}
	sum := 0.0
	for k := range r.Amperes {
		is, _ := t.offset.at(k)
		sum += is
		t.offsets.add(r.Offset - t.offsetSign*is)
	}
	t.trueOffset = t.offsetSign * sum / float64(r.Len())
}

// check takes a checkpoint if the channel is as far as the truth is.
func (t *track) check(a, truth *pipeline.Account, seconds float64) {
	if !t.stand(a, truth) {
		return
	}
	s := &t.score
	s.CheckpointCount++
	if s.Covered() {
		s.CoveredCount++
	}
	if math.Abs(s.ErrorCoulombs) > math.Abs(s.WorstCoulombs) {
		s.WorstCoulombs, s.WorstAtSeconds = s.ErrorCoulombs, seconds
	}
	t.ratios.add(s.Ratio())
	if math.Abs(s.Ratio()) > math.Abs(s.WorstRatio) {
		s.WorstRatio = s.Ratio()
	}
	t.trace.add(Point{seconds, s.ErrorCoulombs, s.HalfWidthCoulombs, t.trueOffset, t.newest.Offset, t.newest.ZeroAmperes})
}

// stand settles where the channel stands, if it is as far as the truth is.
func (t *track) stand(a, truth *pipeline.Account) bool {
	if a.Total.Readings == 0 || a.Total.ToMonotonic != truth.Total.ToMonotonic {
		return false
	}
	u := a.Total.Uncertainty()
	micro := a.Total.Net() + a.Adjustment - truth.Total.Net() - truth.Adjustment
	t.score.ErrorCoulombs = float64(micro) * 1e-6
	t.score.UncertaintyCoulombs, t.score.HalfWidthCoulombs = u.Combined, u.Interval95
	return true
}

// finish gives the figures.
func (t *track) finish() Score {
	t.score.RMSAmperes, t.score.OffsetKnown, t.score.RMSOffsetAmperes = t.current.rms(), t.offsets.count > 0, t.offsets.rms()
	if t.ratios.count > 0 {
		t.score.MeanSquareRatio = t.ratios.square / t.ratios.count
	}
	t.score.Trace = t.trace.points
	return t.score
}
