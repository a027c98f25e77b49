package pipeline

import (
	"errors"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"
)

// TestShadowsOfTheConfigurationComeBack: one that does not start, or fails, is started again with what was kept of it; others stay as they ended.
func TestShadowsOfTheConfigurationComeBack(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j, last := &journal{}, fixed(3)
		runs := []*observer{nil, failing(1), nil, last}
		passing := failing(1)
		c := live(t, j, starts{
			"beside": func() (*observer, error) {
				next := runs[0]
				runs = runs[1:]
				if next == nil {
					return nil, errors.New("estimator beside: not yet")
				}
				return next, nil
			},
			"passing": always(passing),
		})
		if err := c.BeginShadow(t.Context(), "mine", named("beside")); err == nil {
			t.Error("it started at once")
		}
		_, err := c.AddShadow(t.Context(), "other", named("passing"), func(Progress) {})
		check(t, err)
		for second := range uint64(30) {
			c.Apply(t.Context(), "dev", frame(10+10*second, 10, 10, 0))
			pause(t.Context(), time.Second) // of the bubble's time
			synctest.Wait()
		}
		names, all := c.Shadows()
		mine, other := slices.Index(names, "mine"), slices.Index(names, "other")
		if len(names) != 2 || all[mine].Fault != nil || all[other].Fault == nil || len(last.seen()) == 0 {
			t.Errorf("after half a minute %v: %+v", names, all)
		}
		want := []string{
			"estimator beside in the shadow as mine RAISED", "estimator passing in the shadow as other RAISED", "estimator beside in the shadow as mine CLEARED",
			"estimator beside in the shadow as mine RAISED", "estimator beside in the shadow as mine CLEARED",
		}
		got := j.told()
		slices.Sort(got)
		slices.Sort(want)
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("told (-want +got):\n%s", diff)
		}
	})
}

// TestAShadowThatFailsTooOften is left alone, and its event says so.
func TestAShadowThatFailsTooOften(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j, started := &journal{}, 0
		c := liveAs(t, j, starts{"beside": func() (*observer, error) { started++; return nil, errors.New("estimator beside: out of order") }},
			ConductorConfig{MostFailures: 3})
		_ = c.BeginShadow(t.Context(), "mine", named("beside"))
		pause(t.Context(), time.Hour) // of the bubble's time
		synctest.Wait()
		if started != 3 {
			t.Errorf("it was started %d times", started)
		}
		last := j.events[len(j.events)-1]
		const want = "failed 3 times without 1h0m0s of work in between: estimator beside: out of order; it is not started again before the daemon is"
		if last.GetDetail() != want || last.GetElement() != "beside in the shadow as mine" {
			t.Errorf("told %v", last)
		}
		check(t, c.RemoveShadow("mine"))
	})
}
