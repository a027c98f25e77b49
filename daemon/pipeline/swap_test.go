package pipeline

import (
	"context"
	"errors"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"
)

// live makes a conductor with an estimator "old" in force, offset 1 A, that has answered for the first ten scans, and its supervisor.
func live(t *testing.T, j *journal, s starts) *Conductor {
	t.Helper()
	return liveAs(t, j, s, ConductorConfig{})
}

func liveAs(t *testing.T, j *journal, s starts, config ConductorConfig) *Conductor {
	t.Helper()
	if s["old"] == nil {
		s["old"] = always(fixed(1))
	}
	config.Start, config.Expected = s.start, true
	c := newConductor(t, j, config)
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() { defer close(done); _ = c.Run(ctx) }()
	t.Cleanup(func() { cancel(); <-done; c.Close() })
	check(t, c.Begin(ctx, named("old")))
	c.Apply(ctx, "dev", frame(0, 10, 10, 0))
	synctest.Wait()
	return c
}

// inForce gives the generation and offset that the next summary goes through.
func inForce(t *testing.T, c *Conductor, j *journal, sequence uint64) (generation uint64, offset float64) {
	t.Helper()
	c.Apply(t.Context(), "dev", frame(sequence, 10, 10, 0))
	synctest.Wait()
	last := j.frames[len(j.frames)-1]
	return last.Generation, last.Offset
}

func steps(of *[]Step) func(Progress) { return func(p Progress) { *of = append(*of, p.Step) } }

func TestSwapTakesOverAtTheNextSummary(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j, next := &journal{}, fixed(2)
		c := live(t, j, starts{"new": always(next)})
		c.Apply(t.Context(), "dev", frame(10, 10, 5, 0)) // the swap falls into the middle of a summary
		var seen []Step
		at, err := c.Swap(t.Context(), named("new"), Trial{}, steps(&seen))
		check(t, err)
		if at["dev"] != 20 {
			t.Errorf("promised from sequence %d on, want 20", at["dev"])
		}
		c.Apply(t.Context(), "dev", frame(15, 10, 5, 0))
		if last := j.frames[len(j.frames)-1]; last.Generation != 1 || last.Offset != 1 {
			t.Errorf("the rest of the summary goes through generation %d, offset %g", last.Generation, last.Offset)
		}
		if g, o := inForce(t, c, j, 20); g != 2 || o != 2 {
			t.Errorf("the next summary goes through generation %d, offset %g", g, o)
		}
		if diff := cmp.Diff([]Step{Starting, Configured, Warming, Swapped}, slices.Compact(seen)); diff != "" {
			t.Errorf("steps (-want +got):\n%s", diff)
		}
		// Each summary was seen once, the one before it was started too.
		var firsts []uint64
		for _, s := range next.summaries {
			firsts = append(firsts, s.GetFirstSequence())
		}
		if diff := cmp.Diff([]uint64{0, 10, 20}, firsts); diff != "" {
			t.Errorf("summaries of the new one (-want +got):\n%s", diff)
		}
	})
}

// TestFailedSwapChangesNothing fails a candidate in each way there is: the old one is in force as before, and the candidate was closed.
func TestFailedSwapChangesNothing(t *testing.T) {
	for name, c := range map[string]struct {
		candidate *observer
		refuse    error
		want      string
	}{
		"does not start":   {nil, errors.New("estimator new: no such thing"), "estimator new: no such thing"},
		"fails in warming": {failing(0), nil, "estimator broken: it is"},
		"never answers":    {hanging(), nil, "estimator new: gave no first answer within 30s: it hangs, or no summary came"},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				j := &journal{}
				conductor := live(t, j, starts{"new": func() (*observer, error) { return c.candidate, c.refuse }})
				_, err := conductor.Swap(t.Context(), named("new"), Trial{}, func(Progress) {})
				if err == nil || err.Error() != c.want {
					t.Errorf("swap ended with %v, want %s", err, c.want)
				}
				if g, o := inForce(t, conductor, j, 10); g != 1 || o != 1 {
					t.Errorf("generation %d, offset %g is in force", g, o)
				}
				if c.candidate != nil && !c.candidate.closed {
					t.Error("the candidate was left running")
				}
				if told := j.told(); len(told) > 0 {
					t.Errorf("told %v: a failed candidate is the caller's to know", told)
				}
			})
		})
	}
}

func TestOneSwapAtATime(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j := &journal{}
		c := live(t, j, starts{"slow": always(hanging()), "new": always(fixed(2))})
		first := make(chan error, 1)
		ctx, cancel := context.WithCancel(t.Context())
		go func() {
			_, err := c.Swap(ctx, named("slow"), Trial{}, func(Progress) {})
			first <- err
		}()
		synctest.Wait()
		if _, err := c.Swap(t.Context(), named("new"), Trial{}, func(Progress) {}); !errors.Is(err, ErrSwapBusy) {
			t.Errorf("a second swap ended with %v", err)
		}
		cancel() // the caller of the first one goes away
		if err := <-first; !errors.Is(err, context.Canceled) {
			t.Errorf("the first swap ended with %v", err)
		}
		_, err := c.Swap(t.Context(), named("new"), Trial{}, func(Progress) {})
		check(t, err)
	})
}

// TestSwapBeforeTheFirstEstimator is refused: there is nothing yet to swap.
func TestSwapBeforeTheFirstEstimator(t *testing.T) {
	c := newConductor(t, &journal{}, ConductorConfig{Expected: true})
	if _, err := c.Swap(t.Context(), named("new"), Trial{}, func(Progress) {}); !errors.Is(err, ErrSwapBusy) {
		t.Errorf("swap ended with %v", err)
	}
}

// TestDeadEstimatorIsHeldAndReplaced lets the estimator in force fail: its last offset is held, an event says so; it is started again after a
// pause, warmed up with what it missed, and the event is cleared.
func TestDeadEstimatorIsHeldAndReplaced(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j, again := &journal{}, fixed(3)
		runs := []*observer{failing(1), nil, again} // the second start fails too
		c := live(t, j, starts{"old": func() (*observer, error) {
			next := runs[0]
			runs = runs[1:]
			if next == nil {
				return nil, errors.New("estimator old: not yet")
			}
			return next, nil
		}})
		if g, o := inForce(t, c, j, 10); g != 1 || o != 1 {
			t.Errorf("generation %d, offset %g is in force at the failure", g, o)
		}
		if g, o := inForce(t, c, j, 20); g != 1 || o != 1 {
			t.Errorf("after the failure generation %d, offset %g is held", g, o)
		}
		if err := c.EstimatorFault(); err == nil || err.Error() != "conductor pack: estimator broken: it is" {
			t.Errorf("fault is %v", err)
		}
		pause(t.Context(), 5*time.Second) // of the bubble's time: past both pauses
		synctest.Wait()
		if g, o := inForce(t, c, j, 30); o != 3 || g < 2 {
			t.Errorf("after the restart generation %d, offset %g is in force", g, o)
		}
		want := []string{"estimator old RAISED", "estimator old CLEARED"}
		if diff := cmp.Diff(want, j.told()); diff != "" {
			t.Errorf("events (-want +got):\n%s", diff)
		}
		if again.summaries[0].GetFirstSequence() != 0 {
			t.Errorf("the new one was warmed up from sequence %d on, not from the first retained summary", again.summaries[0].GetFirstSequence())
		}
	})
}

// TestCandidateThatFailsAsItTakesOver gives a candidate two retained summaries, of which it answers the first and fails at the second: whether
// the swap still sees it or not, in the end an estimator that works is in force.
func TestCandidateThatFailsAsItTakesOver(t *testing.T) {
	for range 20 {
		synctest.Test(t, func(t *testing.T) {
			j, started := &journal{}, 0
			c := live(t, j, starts{"new": func() (*observer, error) {
				if started++; started == 1 {
					return failing(1), nil
				}
				return fixed(5), nil
			}})
			c.Apply(t.Context(), "dev", frame(10, 10, 10, 0))
			synctest.Wait()
			_, err := c.Swap(t.Context(), named("new"), Trial{}, func(Progress) {})
			pause(t.Context(), 5*time.Second) // of the bubble's time
			synctest.Wait()
			want := map[bool]float64{true: 1, false: 5}[err != nil] // the old one, or the new one started again
			if _, o := inForce(t, c, j, 20); o != want || c.EstimatorFault() != nil {
				t.Errorf("swap ended with %v; offset %g is in force, %v", err, o, c.EstimatorFault())
			}
		})
	}
}

// TestDeathIsSeenBesideACandidates lets a candidate's failure wait to be looked at when the estimator in force fails too.
func TestDeathIsSeenBesideACandidates(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j, started := &journal{}, 0
		c := live(t, j, starts{"old": func() (*observer, error) {
			if started++; started == 1 {
				return failing(1), nil
			}
			return fixed(7), nil
		}})
		c.estimation.wake() // as a candidate's would
		c.Apply(t.Context(), "dev", frame(10, 10, 10, 0))
		pause(t.Context(), 5*time.Second)
		synctest.Wait()
		if _, o := inForce(t, c, j, 20); o != 7 {
			t.Errorf("offset %g is in force, the estimator was not started again", o)
		}
	})
}

// TestSlowEstimatorDelaysNothing lets an estimator hang: every reading goes through all the same, and what it misses is counted.
func TestSlowEstimatorDelaysNothing(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j := &journal{}
		c := live(t, j, starts{"old": always(hanging())})
		const summaries = queuedSummaries + 10
		for i := range summaries {
			c.Apply(t.Context(), "dev", frame(uint64(10+10*i), 10, 10, 0))
		}
		if len(j.amperes) != 10*(summaries+1) {
			t.Errorf("%d readings came through", len(j.amperes))
		}
		if status, _ := c.Estimator(); status.Skipped != 10 {
			t.Errorf("%d summaries counted as skipped, want 10", status.Skipped)
		}
	})
}
