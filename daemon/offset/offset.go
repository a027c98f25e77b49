// Package offset is the stage that subtracts the newest estimate of a channel's offset and lets its uncertainty age.
//
// An estimate comes from an estimator that is never on the path of a reading: the stage applies whatever it was given last.
// Its uncertainty then grows as a random walk, u² = u₀² + w²·age, until a newer one comes; the part of the zero's uncertainty
// that no estimate removes (a quiet converter's rounding) stays beside it. Without an estimate the readings stay statically
// compensated and keep the uncertainty the sensor stated.
//
// What is applied changes only where a summary begins, at a multiple of a fixed number of scans of the device's sequence, so how a driver
// cuts its frames changes no result. A Stage has state of its own, no goroutine, no clock but the readings'; it allocates nothing and is
// not safe for concurrent use. Currents are in amperes, times in ns.
package offset

import (
	"math"

	"github.com/ampledger/ampledger/daemon/scan"
)

// Estimate is the offset of one channel as an estimator gave it.
type Estimate struct {
	Amperes           float64    // what is to be subtracted, finite
	Uncertainty       float64    // its standard uncertainty in amperes when it was made, ≥ 0
	WalkPerRootSecond float64    // w in A/√s, ≥ 0
	Made              scan.Clock // its Epoch, Monotonic and Wall: the time of the newest reading it rests on
	Estimator         string     // plugin's name
	Generation        uint64     // of the estimator, from 1
}

// Valid tells whether the figures can be applied at all.
func (e Estimate) Valid() bool {
	return e.Amperes-e.Amperes == 0 && e.Uncertainty >= 0 && e.WalkPerRootSecond >= 0 &&
		!math.IsInf(e.Uncertainty, 1) && !math.IsInf(e.WalkPerRootSecond, 1)
}

// Stage is one channel's offset compensation.
type Stage struct {
	summaryScans uint64
	staleNanos   int64
	newest       Estimate
	given        bool

	block   uint64 // the summary that applied belongs to, plus one; 0 = none yet
	applied scan.Estimate
	made    scan.Clock
	zero    float64 // amperes, aged to where the summary begins
}

// New makes a stage. summaryScans is the length of a summary, ≥ 1; an estimate older than staleNanos is marked stale.
func New(summaryScans uint64, staleNanos int64) *Stage {
	return &Stage{summaryScans: summaryScans, staleNanos: staleNanos}
}

// Take hands over a newer estimate; it is applied from the next summary on. An estimate that is not Valid is refused.
func (s *Stage) Take(e Estimate) (taken bool) {
	if !e.Valid() {
		return false
	}
	s.newest, s.given = e, true
	return true
}

// Forget drops the estimate: from the next reading on none is applied, until another is taken.
func (s *Stage) Forget() { s.newest, s.given, s.block = Estimate{}, false, 0 }

// Newest gives the estimate taken last, if any was.
func (s *Stage) Newest() (e Estimate, given bool) { return s.newest, s.given }

// Apply subtracts the offset from r and states its uncertainty. r holds a reading at least, and all of them lie within one summary.
func (s *Stage) Apply(r *scan.Readings) {
	if block := r.Sequence/s.summaryScans + 1; block != s.block {
		s.block = block
		s.begin(&r.Clock)
	}
	r.Estimate = s.applied
	if s.applied.Age < 0 {
		return
	}
	r.Age = since(&s.made, &r.Clock)
	r.ZeroAmperes = s.zero
	if r.RoundingAmperes != 0 {
		r.ZeroAmperes = math.Hypot(s.zero, r.RoundingAmperes)
	}
	if s.applied.Offset == 0 {
		return
	}
	subtract(r, s.applied.Offset)
}

// begin settles what is applied over a summary.
func (s *Stage) begin(now *scan.Clock) {
	if !s.given {
		s.applied = scan.Estimate{Age: -1, Stale: true}
		return
	}
	s.made = s.newest.Made
	age := since(&s.made, now)
	s.zero = math.Hypot(s.newest.Uncertainty, s.newest.WalkPerRootSecond*math.Sqrt(float64(age)*1e-9))
	s.applied = scan.Estimate{
		Offset: s.newest.Amperes, Age: age, Stale: age > s.staleNanos,
		Estimator: s.newest.Estimator, Generation: s.newest.Generation,
	}
}

// since gives the time from when an estimate was made to the first scan of to in ns, never below 0. Two epochs share no monotonic
// time, so there the wall-clock labels must do: they only widen an uncertainty.
func since(made, to *scan.Clock) int64 {
	if made.Epoch == to.Epoch {
		return max(0, to.At(0)-made.Monotonic)
	}
	return max(0, to.WallAt(0)-made.Wall)
}

func subtract(r *scan.Readings, amperes float64) {
	y := r.Amperes
	for ; len(y) >= 4; y = y[4:] {
		y[0] -= amperes
		y[1] -= amperes
		y[2] -= amperes
		y[3] -= amperes
	}
	for k := range y {
		y[k] -= amperes
	}
	r.Minimum -= amperes
	r.Maximum -= amperes
}
