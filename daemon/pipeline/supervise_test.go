package pipeline

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"

	"github.com/ampledger/ampledger/plugins/plugin"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// walking answers so many summaries, with an offset that walks, and then fails.
func walking(after int) *observer {
	o := failing(after)
	answer := o.do
	o.do = func(ctx context.Context, s *plugin.Summary) (*plugin.Answer, error) {
		a, err := answer(ctx, s)
		for _, c := range a.GetChannels() {
			c.WalkAmperesPerRootSecond = 0.01
		}
		return a, err
	}
	return o
}

// feeder gives a conductor frames of ten scans, a second of the bubble's time each.
type feeder struct {
	t    *testing.T
	c    *Conductor
	next uint64
	step time.Duration // from one summary to the next; 0 = 1 s
}

func (f *feeder) feed(seconds int) {
	for range seconds {
		f.c.Apply(f.t.Context(), "dev", frame(f.next, 10, 10, 0))
		f.next += 10
		pause(f.t.Context(), max(f.step, time.Second))
		synctest.Wait()
	}
}

// lasting works for so long and then fails.
func lasting(d *time.Duration) *observer {
	o := fixed(1)
	began, answer := time.Now(), o.do
	o.do = func(ctx context.Context, s *plugin.Summary) (*plugin.Answer, error) {
		if time.Since(began) > *d {
			return nil, errors.New("estimator broken: it is")
		}
		return answer(ctx, s)
	}
	return o
}

// broken is a rig whose estimator "old" is one that fails. started counts its starts.
func broken(t *testing.T, j *journal, most int, one func() *observer) (f *feeder, started *int) {
	t.Helper()
	started = new(int)
	c := liveAs(t, j, starts{
		"old": func() (*observer, error) { *started++; return one(), nil },
		"new": always(fixed(2)),
	}, ConductorConfig{MostFailures: most})
	return &feeder{t: t, c: c, next: 10}, started
}

// TestEstimatorThatFailsAgainAndAgain is started again after longer and longer waits, nine times as nothing else is said, and then no more: that is told
// with its name and generation, its last offset is held, and the zero grows less certain.
func TestEstimatorThatFailsAgainAndAgain(t *testing.T) {
	for most, starts := range map[int]int{0: 10, 1: 1, 3: 3} {
		t.Run(fmt.Sprint(most), func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				j := &journal{}
				f, started := broken(t, j, most, func() *observer { return walking(1) })
				f.feed(1000) // 0.5 s, 1 s, … 60 s and a quarter more are 227 s at most
				if *started != starts {
					t.Errorf("it was started %d times, want %d", *started, starts)
				}
				status, _ := f.c.Estimator()
				if !status.Quarantined || status.Fault == nil {
					t.Errorf("status %+v", status)
				}
				want := []string{"estimator old RAISED", "estimator old OPERATED"}
				told := j.told()
				if diff := cmp.Diff(want, told[len(told)-2:]); diff != "" {
					t.Errorf("events (-want +got):\n%s", diff)
				}
				checkQuarantine(t, j.events[len(j.events)-1], status.Generation, starts)
				held := j.frames[len(j.frames)-500:]
				zeros := j.zeros[len(j.zeros)-500:]
				for k := 1; k < 500; k++ {
					if held[k].Offset != 1 || held[k].Generation != status.Generation || !(zeros[k] > zeros[k-1]) {
						t.Fatalf("frame %d goes through generation %d, offset %g ± %g", k, held[k].Generation, held[k].Offset, zeros[k])
					}
				}
			})
		})
	}
}

func checkQuarantine(t *testing.T, e *ampledgerv1.Event, generation uint64, failures int) {
	t.Helper()
	want := fmt.Sprintf("quarantined at failure %d without 1h0m0s of work in between: estimator broken: it is;", failures)
	if e.GetEstimator() != "old" || e.GetEstimatorGeneration() != generation || !strings.HasPrefix(e.GetDetail(), want) {
		t.Errorf("event %v, want generation %d and %q", e, generation, want)
	}
}

// TestQuarantineEnds with another estimator in force, or with the same one if somebody says so; what counts then counts anew.
func TestQuarantineEnds(t *testing.T) {
	for name, end := range map[string]func(context.Context, *Conductor) error{
		"swap": func(ctx context.Context, c *Conductor) error {
			_, err := c.Swap(ctx, named("new"), Trial{}, func(Progress) {})
			return err
		},
		"swap to the same": func(ctx context.Context, c *Conductor) error {
			_, err := c.Swap(ctx, named("old"), Trial{}, func(Progress) {})
			return err
		},
		"swap and revert": func(ctx context.Context, c *Conductor) error {
			if _, err := c.Swap(ctx, named("new"), Trial{}, func(Progress) {}); err != nil {
				return err
			}
			_, err := c.Revert(ctx, func(Progress) {})
			return err
		},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				j := &journal{}
				moment := 1500 * time.Millisecond
				f, started := broken(t, j, 2, func() *observer { return lasting(&moment) })
				f.feed(100)
				before := *started
				check(t, end(t.Context(), f.c))
				synctest.Wait()
				if status, _ := f.c.Estimator(); status.Quarantined {
					t.Errorf("%+v is quarantined still", status)
				}
				if told := strings.Join(j.told(), " "); strings.Count(told, "OPERATED") != 1 || strings.Count(told, "CLEARED") < 1 {
					t.Errorf("told %s", told)
				}
				f.feed(100)
				if name != "swap" && *started != before+2 {
					t.Errorf("it was started %d times after the quarantine, want 2", *started-before)
				}
			})
		})
	}
}

// TestAnHourOfWorkForgives every failure before it.
func TestAnHourOfWorkForgives(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j, work := &journal{}, 4000*time.Second
		f, _ := broken(t, j, 2, func() *observer { return lasting(&work) })
		f.step = 20 * time.Second
		f.feed(5 * 200)
		if status, _ := f.c.Estimator(); status.Quarantined || status.Fault != nil {
			t.Errorf("%+v, it works for more than an hour each time", status)
		}
		if told := strings.Join(j.told(), " "); strings.Count(told, "RAISED") != 4 {
			t.Errorf("told %s, want four failures", told)
		}
		work = 3000 * time.Second
		f.feed(3 * 150)
		if status, _ := f.c.Estimator(); !status.Quarantined {
			t.Errorf("%+v, it worked for less than an hour", status)
		}
	})
}

// TestShadowsFailureDoesNotWait for the estimator in force to come back.
func TestShadowsFailureDoesNotWait(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j := &journal{}
		c := liveAs(t, j, starts{"old": always(failing(1)), "new": always(failing(2))}, ConductorConfig{MostFailures: 1})
		_, err := c.AddShadow(t.Context(), "beside", named("new"), func(Progress) {})
		check(t, err)
		f := &feeder{t: t, c: c, next: 10}
		f.feed(3)
		told := strings.Join(j.told(), ", ")
		if !strings.Contains(told, "estimator old OPERATED") || !strings.Contains(told, "estimator new in the shadow as beside RAISED") {
			t.Errorf("told %s", told)
		}
	})
}

// TestPausesGrowUntilItWorks holds the waits against what is said of them.
func TestPausesGrowUntilItWorks(t *testing.T) {
	var p pacing
	within := func(wait, base time.Duration) {
		t.Helper()
		if wait < base || wait > base+base/4 {
			t.Errorf("waits %v, want %v and up to a quarter more", wait, base)
		}
	}
	for k := range 20 {
		within(p.after(0), min(time.Minute, time.Duration(float64(500*time.Millisecond)*math.Pow(2, float64(k)))))
	}
	within(p.after(p.waited), time.Minute) // it worked just as long as was waited
	within(p.after(p.waited+1), 500*time.Millisecond)
	within(p.after(p.waited), time.Second)
	several := map[time.Duration]bool{}
	for range 20 {
		several[backoff(3)] = true
	}
	if len(several) < 10 {
		t.Errorf("20 waits have %d lengths: plugins would come back together", len(several))
	}
}

// TestSilentDriversAreAsked from half a minute of silence on, as long as it lasts.
func TestSilentDriversAreAsked(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := NewDevice(DeviceConfig{Name: "dev"}, nil, nil, 0, nil)
		ctx, cancel := context.WithCancel(t.Context())
		var asked atomic.Int64
		go d.whileSilent(ctx, func() { asked.Add(1) })
		hear := func(seconds int) {
			for range seconds {
				pause(ctx, time.Second)
				d.heard.Store(int64(time.Since(d.start)))
			}
		}
		hear(100)
		if n := asked.Load(); n != 0 {
			t.Errorf("asked %d times while it gave frames", n)
		}
		pause(ctx, 5*time.Minute)
		before := asked.Load()
		if before < 27 || before > 28 {
			t.Errorf("asked %d times in five minutes of silence", before)
		}
		hear(100)
		if after := asked.Load(); after > before+1 {
			t.Errorf("asked %d times after the silence", after-before)
		}
		cancel()
		synctest.Wait()
	})
}
