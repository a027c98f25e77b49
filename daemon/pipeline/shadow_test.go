package pipeline

import (
	"context"
	"errors"
	"math"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"
)

// steadily applies ten seconds of 10 A from a second on and lets the estimators answer each.
func steadily(t *testing.T, c *Conductor, from uint64) {
	t.Helper()
	for i := range uint64(10) {
		c.Apply(t.Context(), "dev", frame(10*(from+i), 10, 10, 0))
		synctest.Wait()
	}
}

// TestAShadowChangesNothing runs an estimator that says 3 A beside one that says 1 A: no reading changes, and the comparison says what would be.
func TestAShadowChangesNothing(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j, beside := &journal{}, fixed(3)
		c := live(t, j, starts{"beside": always(beside)})
		var seen []Step
		generation, err := c.AddShadow(t.Context(), "mine", named("beside"), steps(&seen))
		check(t, err)
		if diff := cmp.Diff([]Step{Starting, Configured, Warming, Shadowing}, slices.Compact(seen)); diff != "" || generation != 2 {
			t.Errorf("generation %d, steps (-want +got):\n%s", generation, diff)
		}
		steadily(t, c, 1)
		if last := j.frames[len(j.frames)-1]; last.Offset != 1 || last.Generation != 1 {
			t.Errorf("offset %g of generation %d is in force", last.Offset, last.Generation)
		}
		all := c.Compare(math.MinInt64, math.MaxInt64)
		if len(all) != 2 || all[0].Shadow != "" || all[1].Shadow != "mine" || all[1].Generation != 2 || all[1].Answered != 11 {
			t.Fatalf("comparison: %+v", all)
		}
		of := all[1].Channels[0]
		// Its offset has been known from the second summary on, nine of which lie between the first and the last one compared.
		if of.GetSummaryCount() != 11 || math.Abs(of.GetMeanDifferenceAmperes()-2) > 1e-12 ||
			math.Abs(of.GetChargeDifferenceCoulombs()+2*10) > 1e-6 || of.GetOffsetAmperes() != 3 {
			t.Errorf("on the channel: %+v", of)
		}
		if own := all[0].Channels[0]; own.GetMeanDifferenceAmperes() != 0 || own.GetChargeDifferenceCoulombs() != 0 {
			t.Errorf("the one in force against itself: %+v", own)
		}
		if span := c.Compare(5e9, 8e9)[1].Channels[0]; span.GetSummaryCount() != 3 || math.Abs(span.GetChargeDifferenceCoulombs()+2*2) > 1e-6 {
			t.Errorf("over three summaries: %+v", span)
		}
		check(t, c.RemoveShadow("mine"))
		if !beside.closed || len(c.Compare(0, 1)) != 1 {
			t.Error("the shadow is still there")
		}
	})
}

// TestAShadowIsPromotedAndReverted puts a shadow in force at the next summary, warm, and the one before again with what it knew.
func TestAShadowIsPromotedAndReverted(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j, old, again := &journal{}, fixed(1), fixed(1)
		given := []*observer{old, again}
		c := live(t, j, starts{
			"old":    func() (*observer, error) { o := given[0]; given = given[1:]; return o, nil },
			"beside": always(fixed(3)),
		})
		_, err := c.AddShadow(t.Context(), "mine", named("beside"), func(Progress) {})
		check(t, err)
		steadily(t, c, 1)
		at, err := c.Promote("mine", func(Progress) {})
		check(t, err)
		if g, o := inForce(t, c, j, at["dev"]); g != 2 || o != 3 {
			t.Errorf("generation %d, offset %g is in force", g, o)
		}
		if !old.closed {
			t.Error("the old one still runs")
		}
		steadily(t, c, 12)
		_, err = c.Revert(t.Context(), func(Progress) {})
		check(t, err)
		if g, o := inForce(t, c, j, 220); g != 3 || o != 1 {
			t.Errorf("after the reverse generation %d, offset %g is in force", g, o)
		}
		if string(again.kept.State) != "state" || again.kept.Away != 0 {
			t.Errorf("it was started with %+v", again.kept)
		}
		// It gets what it missed, and nothing twice.
		if first := again.seen()[0].GetFirstSequence(); first != 110 {
			t.Errorf("its first summary is %d, want 110", first)
		}
	})
}

func TestShadowsRefused(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		broken := failing(1)
		j := &journal{}
		c := live(t, j, starts{"good": always(fixed(2)), "broken": always(broken), "none": func() (*observer, error) { return nil, errors.New("no such thing") }})
		add := func(name, plugin string) error {
			_, err := c.AddShadow(context.Background(), name, named(plugin), func(Progress) {})
			return err
		}
		check(t, add("a", "good"))
		if err := add("a", "good"); !errors.Is(err, ErrShadowTaken) {
			t.Errorf("a name twice: %v", err)
		}
		if err := add("b", "none"); err == nil || err.Error() != "no such thing" {
			t.Errorf("one that does not start: %v", err)
		}
		check(t, add("c", "broken"))
		steadily(t, c, 1) // it fails at its second summary
		if _, err := c.Promote("c", func(Progress) {}); err == nil || c.Compare(0, 1)[2].Fault == nil {
			t.Errorf("a shadow that failed was put in force: %v", err)
		}
		if told := j.told(); len(told) != 1 || told[0] != "estimator broken in the shadow as c RAISED" {
			t.Errorf("told %q", told)
		}
		if _, err := c.Promote("nobody", func(Progress) {}); !errors.Is(err, ErrShadowUnknown) {
			t.Errorf("an unknown one: %v", err)
		}
		if err := c.RemoveShadow("nobody"); !errors.Is(err, ErrShadowUnknown) {
			t.Errorf("an unknown one: %v", err)
		}
		if _, err := c.Revert(t.Context(), func(Progress) {}); !errors.Is(err, ErrNoPrevious) {
			t.Errorf("nothing to go back to: %v", err)
		}
		for _, name := range []string{"d", "e", "f", "g", "h", "i"} {
			check(t, add(name, "good"))
		}
		if err := add("j", "good"); !errors.Is(err, ErrShadowsFull) {
			t.Errorf("one too many: %v", err)
		}
	})
}

// TestCloseEndsWhatIsBeingStarted closes the conductor while a candidate warms up for ever: it gives up, and afterwards nothing is started.
func TestCloseEndsWhatIsBeingStarted(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		candidate := hanging()
		c := newConductor(t, &journal{}, ConductorConfig{Start: starts{"old": always(fixed(1)), "slow": always(candidate)}.start, Expected: true})
		check(t, c.Begin(t.Context(), named("old")))
		c.Apply(t.Context(), "dev", frame(0, 10, 10, 0))
		synctest.Wait()
		swapped := make(chan error, 1)
		go func() {
			_, err := c.Swap(context.Background(), named("slow"), Trial{}, func(Progress) {})
			swapped <- err
		}()
		synctest.Wait()
		began := time.Now()
		c.Close()
		if err := <-swapped; !errors.Is(err, ErrClosed) || time.Since(began) > time.Second || !candidate.closed {
			t.Errorf("the swap ended with %v after %v", err, time.Since(began))
		}
		if _, err := c.AddShadow(context.Background(), "a", named("old"), func(Progress) {}); !errors.Is(err, ErrClosed) {
			t.Errorf("after it was closed: %v", err)
		}
	})
}
