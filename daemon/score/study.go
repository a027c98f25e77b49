package score

import (
	"context"
	"errors"
	"fmt"
	"math"
	"runtime"
	"sync"
	"sync/atomic"
)

// MostSeeds bounds a study.
const MostSeeds = 100_000

// Study is what many seeds gave, each run's end taken.
type Study struct {
	Conductor string
	Truth     string
	Seeds     int
	FirstSeed uint64
	Seconds   float64 // of the first run
	Rows      []Row   // of each way to find the offset, each channel
}

// Row is how one way to find the offset did on one channel. Errors are balance less truth at the end.
type Row struct {
	Channel   string
	Estimator string

	CoveredCount            int     // runs in which the 95 % interval held the truth
	CoverLower, CoverUpper  float64 // 95 % interval of the probability that it does (Clopper–Pearson)
	MeanCoulombs            float64
	RMSCoulombs             float64
	RMSUncertaintyCoulombs  float64 // of the standard uncertainties stated
	WorstCoulombs           float64
	WorstSeed               uint64
	MeanSquareRatio         float64 // mean of the squared error as a share of the variance stated; infinite if none was
	RMSAmperes              float64 // of reading less true current
	OffsetKnown             bool    // the next is
	RMSOffsetAmperes        float64 // of offset subtracted less true offset
	coulombs, square, ratio float64
	variance                float64
	current, offset         float64
}

// outcome is what a study keeps of one channel in one run.
type outcome struct {
	coulombs, uncertainty, halfWidth, rms, offset float64
	offsetKnown                                   bool
}

// Study runs so many seeds, on all processors that may be used. progress, which may be nil, is told how many are done; it is called by the
// caller's own goroutine.
func (s *Seeded) Study(ctx context.Context, seeds int, progress func(done int)) (*Study, error) {
	if seeds < 1 || seeds > MostSeeds {
		return nil, fmt.Errorf("%d seeds: 1 to %d can be run", seeds, MostSeeds)
	}
	first, err := s.run(ctx, 0, true)
	if err != nil {
		return nil, err
	}
	all := make([][]outcome, seeds)
	all[0] = first.outcomes()
	if err := s.others(ctx, all, progress); err != nil {
		return nil, err
	}
	study := &Study{Conductor: first.Conductor, Truth: first.Truth, Seeds: seeds, FirstSeed: s.FirstSeed(), Seconds: first.Seconds}
	for i, of := range first.Scores {
		row := Row{Channel: of.Channel, Estimator: of.Estimator}
		for k := range all {
			row.add(&all[k][i], study.FirstSeed+uint64(k))
		}
		study.Rows = append(study.Rows, row.finish(seeds))
	}
	return study, nil
}

// others runs all seeds but the first. Each run writes to its own place, so who runs it changes nothing.
func (s *Seeded) others(ctx context.Context, all [][]outcome, progress func(done int)) error {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	var next atomic.Int64
	var workers sync.WaitGroup
	done := make(chan struct{}, len(all))
	for range min(runtime.GOMAXPROCS(0), len(all)-1) {
		workers.Go(func() {
			for k := next.Add(1); int(k) < len(all) && ctx.Err() == nil; k = next.Add(1) {
				if err := s.into(ctx, all, int(k)); err != nil {
					cancel(fmt.Errorf("seed %d: %w", s.FirstSeed()+uint64(k), err))
				}
				done <- struct{}{}
			}
		})
	}
	go func() {
		workers.Wait()
		close(done)
	}()
	count := 1
	for range done {
		count++
		if progress != nil {
			progress(count)
		}
	}
	return context.Cause(ctx)
}

// into runs one seed; a panic is an error of that run.
func (s *Seeded) into(ctx context.Context, all [][]outcome, k int) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = errors.Join(err, fmt.Errorf("panic: %v", p))
		}
	}()
	r, err := s.run(ctx, uint64(k), true)
	if err != nil {
		return err
	}
	all[k] = r.outcomes()
	return nil
}

func (r *Run) outcomes() (all []outcome) {
	for i := range r.Scores {
		s := &r.Scores[i]
		all = append(all, outcome{s.ErrorCoulombs, s.UncertaintyCoulombs, s.HalfWidthCoulombs, s.RMSAmperes, s.RMSOffsetAmperes, s.OffsetKnown})
	}
	return all
}

// add takes a run in.
func (r *Row) add(o *outcome, seed uint64) {
	if covered(o.coulombs, o.halfWidth) {
		r.CoveredCount++
	}
	if math.Abs(o.coulombs) > math.Abs(r.WorstCoulombs) {
		r.WorstCoulombs, r.WorstSeed = o.coulombs, seed
	}
	share := ratio(o.coulombs, o.uncertainty)
	r.coulombs += o.coulombs
	r.square += o.coulombs * o.coulombs
	r.ratio += share * share
	r.variance += o.uncertainty * o.uncertainty
	r.current += o.rms * o.rms
	r.offset += o.offset * o.offset
	r.OffsetKnown = o.offsetKnown
}

// finish makes the figures of the sums over n runs.
func (r Row) finish(n int) Row {
	of := float64(n)
	r.CoverLower, r.CoverUpper = ClopperPearson(r.CoveredCount, n)
	r.MeanCoulombs, r.RMSCoulombs, r.RMSUncertaintyCoulombs = r.coulombs/of, math.Sqrt(r.square/of), math.Sqrt(r.variance/of)
	r.MeanSquareRatio, r.RMSAmperes, r.RMSOffsetAmperes = r.ratio/of, math.Sqrt(r.current/of), math.Sqrt(r.offset/of)
	return r
}
