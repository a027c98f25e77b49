package estimatortest

import (
	"context"
	"fmt"
	"math"
	"time"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// mixed gives healthy summaries with a fused current of changing weights and a mark now and then, a few of them of no use.
func mixed() (all []*plugin.Summary) {
	marks := []*plugin.Mark{
		{PassedCoulombs: 100, StandardUncertaintyCoulombs: 10}, {PassedCoulombs: -1e9, StandardUncertaintyCoulombs: 1e-3}, {},
		{PassedCoulombs: math.NaN(), StandardUncertaintyCoulombs: 1}, {StandardUncertaintyCoulombs: -1}, {StandardUncertaintyCoulombs: math.Inf(1)},
	}
	for k, s := range healthy() {
		c := s.GetChannels()[0]
		weight := float64(k%5) / 4
		s.Fused = &plugin.Fused{IntegralSeconds: c.GetIntegralSeconds(), Shares: []*plugin.FusedShare{
			{Name: c.GetName(), WeightSeconds: weight * c.GetIntegralSeconds(), IntegralCoulombs: weight * c.GetIntegralCoulombs()},
		}}
		if k%7 == 0 {
			s.Marks = []*plugin.Mark{marks[k/7%len(marks)], marks[0]}
		}
		all = append(all, s)
	}
	return all
}

func (s suite) takesMarksAndFused(ctx context.Context) error {
	e, err := s.start(ctx)
	if err != nil {
		return err
	}
	for _, summary := range mixed() {
		if _, err := observe(e, summary); err != nil {
			return err
		}
	}
	return nil
}

// checkFused wants what is said of a fused current to make sense, and nothing to be said where there is none.
func checkFused(summary *plugin.Summary, answer *plugin.Answer) error {
	if summary.GetFused() == nil && (answer.GetFused() != nil || len(answer.GetCovariances()) > 0) {
		return fmt.Errorf("%v, %v of a fused current that is not there", answer.GetFused(), answer.GetCovariances())
	}
	if b, u := answer.GetFused().GetCorrectionCoulombs(), answer.GetFused().GetCorrectionUncertaintyCoulombs(); b-b != 0 || u-u != 0 || u < 0 {
		return fmt.Errorf("the fused current's correction is %g C ± %g C", b, u)
	}
	variances := map[string]float64{}
	for _, c := range answer.GetCovariances() {
		if c.GetFirst() == c.GetSecond() {
			variances[c.GetFirst()] = c.GetSquareAmperes()
		}
	}
	for _, c := range answer.GetCovariances() {
		limit := math.Sqrt(variances[c.GetFirst()] * variances[c.GetSecond()])
		if v := c.GetSquareAmperes(); !(math.Abs(v) <= limit*(1+1e-9)) {
			return fmt.Errorf("the covariance of %s and %s is %g A², at most %g A² is possible", c.GetFirst(), c.GetSecond(), v, limit)
		}
	}
	return nil
}

// An estimator that ages is, after a month in which nothing was read, no surer of a channel than it would have been at once.
func (s suite) getsOlder(ctx context.Context) error {
	began, err := s.restored(ctx, 0)
	if err != nil {
		return err
	}
	aged, err := s.restored(ctx, 30*24*time.Hour)
	if err != nil {
		return err
	}
	next := healthy()[0]
	young, err := observe(began, next)
	if err != nil {
		return err
	}
	old, err := observe(aged, next)
	if err != nil {
		return err
	}
	for i, e := range old.GetChannels() {
		if was := young.GetChannels()[i]; e.GetStandardUncertaintyAmperes() < was.GetStandardUncertaintyAmperes() {
			return fmt.Errorf("channel %s: ± %g A at once, ± %g A after a month", e.GetName(), was.GetStandardUncertaintyAmperes(), e.GetStandardUncertaintyAmperes())
		}
	}
	return nil
}

// restore restores a state as the daemon has it restored, some time after it was taken.
func restore(e plugin.Estimator, state []byte, ago time.Duration) error {
	if r, is := e.(*remote); is {
		return r.restore(state, ago)
	}
	err := e.Restore(state)
	if aging, is := e.(plugin.Aging); is && err == nil {
		aging.Age(ago)
	}
	return err
}

// restored gives an estimator that was restored from a state so long ago, if it ages at all.
func (s suite) restored(ctx context.Context, ago time.Duration) (plugin.Estimator, error) {
	e, err := s.start(ctx)
	if err != nil {
		return nil, err
	}
	for _, summary := range healthy() {
		if _, err := observe(e, summary); err != nil {
			return nil, err
		}
	}
	state, err := e.Snapshot()
	if err != nil {
		return nil, err
	}
	if e, err = s.start(ctx); err != nil {
		return nil, err
	}
	return e, restore(e, state, ago)
}
