package pipeline

import (
	"context"
	"errors"
	"math"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// adjustments gives what was posted as such.
func (j *journal) adjustments() (all []Posting) {
	j.mu.Lock()
	defer j.mu.Unlock()
	for _, p := range j.postings {
		if p.Kind == Adjustment {
			all = append(all, p)
		}
	}
	return all
}

// TestCutOverIsInTheLedger: the swap is an entry of its own, after the first summary that went through the new offset, with both estimates.
func TestCutOverIsInTheLedger(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j := &journal{}
		c := live(t, j, starts{"new": always(fixed(2))})
		c.Apply(t.Context(), "dev", frame(10, 10, 5, 0))
		at, err := c.Swap(t.Context(), named("new"), Trial{}, func(Progress) {})
		check(t, err)
		c.Apply(t.Context(), "dev", frame(15, 10, 5, 0))
		if early := j.adjustments(); len(early) > 0 {
			t.Errorf("posted before the new offset was used: %+v", early)
		}
		c.Apply(t.Context(), "dev", frame(20, 10, 10, 0))
		posted := j.adjustments()
		const want = "swap at sequence 20: old, generation 1, +1 A ± 0.1 A; then new, generation 2, +2 A ± 0.1 A"
		if len(posted) != 1 || posted[0].Reason != want || posted[0].Estimator != "new" || posted[0].Generation != 2 || at["dev"] != 20 {
			t.Errorf("posted %+v at %v", posted, at)
		}
	})
}

// TestCutOverAdjustsByWhatTheNewOneKnows: an estimator that states what the charge is off by has it posted with the cut-over.
func TestCutOverAdjustsByWhatTheNewOneKnows(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j, next := &journal{}, fixed(2)
		next.do = func(context.Context, *plugin.Summary) (*plugin.Answer, error) {
			return &plugin.Answer{Channels: []*plugin.ChannelEstimate{{
				Name: "meter", OffsetAmperes: 2, StandardUncertaintyAmperes: 0.1, CorrectionKnown: true, CorrectionCoulombs: 4,
			}}}, nil
		}
		c := liveAs(t, j, starts{"new": always(next)}, ConductorConfig{AdjustMicrocoulombs: 1e9})
		_, err := c.Swap(t.Context(), named("new"), Trial{}, func(Progress) {})
		check(t, err)
		c.Apply(t.Context(), "dev", frame(10, 10, 10, 0))
		posted := j.adjustments()
		if len(posted) != 1 || math.Abs(float64(posted[0].AdjustmentMicrocoulombs)+4e6) > 2.2e6 || posted[0].AdjustmentMicrocoulombs >= 0 {
			t.Errorf("posted %+v, want about −4 C less what the offsets subtracted", posted)
		}
	})
}

// TestSwapDuringAnEvent: an overcurrent that lasts while another estimator takes over is one event, raised and cleared once.
func TestSwapDuringAnEvent(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j := &journal{}
		c := live(t, j, starts{"new": always(fixed(2))})
		c.Apply(t.Context(), "dev", frame(10, 90, 10, 0))
		_, err := c.Swap(t.Context(), named("new"), Trial{}, func(Progress) {})
		check(t, err)
		c.Apply(t.Context(), "dev", frame(20, 90, 10, 0))
		c.Apply(t.Context(), "dev", frame(30, 10, 10, 0))
		want := []string{"instantaneous over RAISED", "instantaneous over OPERATED", "instantaneous over CLEARED"}
		if diff := cmp.Diff(want, j.told()); diff != "" {
			t.Errorf("events (-want +got):\n%s", diff)
		}
		if first, last := j.events[0], j.events[len(j.events)-1]; first.GetOnsetSequence() != 10 || last.GetChangeSequence() != 30 || last.GetEventId() != first.GetEventId() {
			t.Errorf("from %v to %v", first, last)
		}
	})
}

// TestSwapDuringAGap: while scans are missing a candidate is warmed up with what is retained and takes over at the next summary there is. The
// gap is counted as without a swap.
func TestSwapDuringAGap(t *testing.T) {
	gaps := map[bool]int64{}
	for _, swapped := range []bool{false, true} {
		synctest.Test(t, func(t *testing.T) {
			j := &journal{}
			c := live(t, j, starts{"new": always(fixed(2))})
			if swapped {
				at, err := c.Swap(t.Context(), named("new"), Trial{}, func(Progress) {})
				check(t, err)
				if at["dev"] != 10 {
					t.Errorf("promised from sequence %d on", at["dev"])
				}
			}
			c.Apply(t.Context(), "dev", frame(40, 10, 10, 0)) // 10 to 39 never came
			total := c.Accounts()[0].Total
			if total.GapCount != 1 || total.Lost != 30 {
				t.Errorf("swapped %v: %d gaps, %d scans lost", swapped, total.GapCount, total.Lost)
			}
			gaps[swapped] = total.GapNanos
			if last := j.frames[len(j.frames)-1]; swapped && last.Generation != 2 {
				t.Errorf("after the gap generation %d is in force", last.Generation)
			}
		})
	}
	if gaps[true] != gaps[false] {
		t.Errorf("the gap is %d ns with a swap, %d ns without", gaps[true], gaps[false])
	}
}

// TestSwapAtShutdown: a swap that is going on gives up, and one that comes later is refused.
func TestSwapAtShutdown(t *testing.T) {
	for name, trial := range map[string]Trial{"while it is warmed up": {}, "in the shadow": {For: time.Hour}} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				candidate := hanging()
				if trial.For > 0 {
					candidate = fixed(2)
				}
				c := live(t, &journal{}, starts{"new": always(candidate)})
				ended := make(chan error)
				go func() {
					_, err := c.Swap(t.Context(), named("new"), trial, func(Progress) {})
					ended <- err
				}()
				synctest.Wait()
				go c.Close()
				if err := <-ended; !errors.Is(err, ErrClosed) {
					t.Errorf("the swap ended with %v", err)
				}
				synctest.Wait()
				if _, err := c.Swap(t.Context(), named("new"), Trial{}, func(Progress) {}); !errors.Is(err, ErrClosed) {
					t.Errorf("a swap after that: %v", err)
				}
				if !candidate.closed {
					t.Error("the candidate was left running")
				}
			})
		})
	}
}

// TestCandidateIsWarmBeforeItTakesOver: it has answered every retained summary, and tells how far it has got.
func TestCandidateIsWarmBeforeItTakesOver(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j, slow := &journal{}, fixed(2)
		answer := slow.do
		slow.do = func(ctx context.Context, s *plugin.Summary) (*plugin.Answer, error) {
			pause(ctx, time.Second) // of the bubble's time
			return answer(ctx, s)
		}
		c := live(t, j, starts{"slow": always(slow)})
		for k := range uint64(49) {
			c.Apply(t.Context(), "dev", frame(10+10*k, 10, 10, 0))
		}
		var fractions []float64
		_, err := c.Swap(t.Context(), named("slow"), Trial{}, func(p Progress) {
			if p.Step == Warming {
				fractions = append(fractions, p.Fraction)
			}
		})
		check(t, err)
		if n := len(slow.seen()); n != 50 {
			t.Errorf("it had answered %d of 50 summaries when it took over", n)
		}
		if len(fractions) < 10 || fractions[1] != 0.1 || fractions[9] != 0.9 {
			t.Errorf("told %v", fractions)
		}
	})
}

// TestTrial holds a candidate against the one in force after its time in the shadow.
func TestTrial(t *testing.T) {
	silent := func() *observer {
		return &observer{do: func(context.Context, *plugin.Summary) (*plugin.Answer, error) { return &plugin.Answer{}, nil }}
	}
	for name, c := range map[string]struct {
		candidate *observer
		most      float64
		want      string
	}{
		"it agrees":                 {fixed(1.1), 2, ""},
		"it does not":               {fixed(2), 2, "channel meter: its offset is 1 A off that in force, more than 2 times the 0.1414 A of their uncertainties together"},
		"nobody asks it to":         {fixed(50), 0, ""},
		"it says nothing":           {silent(), 2, "it gave no offset that could be held against one in force"},
		"it says nothing, unasked":  {silent(), 0, ""},
		"it fails before the end":   {failing(3), 0, "estimator broken: it is"},
		"it is too sure of nothing": {fixed(math.Inf(1)), 2, "channel meter: its offset is +Inf A off that in force, more than 2 times the 0.1414 A of their uncertainties together"},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				j := &journal{}
				conductor := live(t, j, starts{"new": always(c.candidate)})
				ended := make(chan error)
				var seen []Step
				go func() {
					_, err := conductor.Swap(t.Context(), named("new"), Trial{For: time.Minute, MostDeviations: c.most}, steps(&seen))
					ended <- err
				}()
				synctest.Wait()
				steadily(t, conductor, 1)
				err := <-ended
				if got := errorText(err); got != c.want {
					t.Errorf("ended with %q, want %q", got, c.want)
				}
				last := Swapped
				if c.want != "" {
					last = Failed
				}
				if seen[len(seen)-1] != last || seen[len(seen)-2] != Shadowing {
					t.Errorf("steps %v", seen)
				}
				if names, _ := conductor.Shadows(); len(names) != 0 || c.candidate.closed != (err != nil) {
					t.Errorf("shadows %v are left; it was closed: %v", names, c.candidate.closed)
				}
			})
		})
	}
}

func errorText(err error) string {
	if err == nil {
		return ""
	}
	return err.Error()
}
