package pipeline

import (
	"context"
	"fmt"
	"time"

	"go.uber.org/zap"
)

// revivals starts those shadows again that the configuration names: others, which somebody put there to look at, stay as they ended. Its methods
// belong to the supervisor's goroutine.
type revivals struct {
	*Conductor
	of    map[string]*revival // by the shadow's name
	timer *time.Timer         // until the first is due; nil = none is
}

// revival is a shadow that failed.
type revival struct {
	failed   *run
	failures int // without proven work between them
	pacing   pacing
	began    time.Time // when it was started again last
	due      time.Time // zero = it works, or it is not started again
}

// wait gives when a shadow is due; nil = none is.
func (v *revivals) wait() <-chan time.Time {
	if v.timer == nil {
		return nil
	}
	return v.timer.C
}

func (v *revivals) stop() {
	if v.timer != nil {
		v.timer.Stop()
		v.timer = nil
	}
}

// look sees which shadows failed.
func (v *revivals) look() {
	shadows := v.failing()
	for _, s := range shadows {
		known := v.of[s.name]
		if known == nil {
			known = &revival{}
			v.of[s.name] = known
		}
		if known.failed != s.run {
			known.failed = s.run
			v.count(s, known, s.failure())
		}
	}
	v.schedule()
}

// failing gives the shadows that failed, and forgets those that were removed.
func (v *revivals) failing() []shadow {
	v.mu.Lock()
	defer v.mu.Unlock()
	for name := range v.of {
		if v.estimation.shadow(name) < 0 {
			delete(v.of, name)
		}
	}
	return v.estimation.failedShadows()
}

func (e *estimation) failedShadows() (failed []shadow) {
	for _, s := range e.shadows {
		if s.stays && s.failure() != nil {
			failed = append(failed, s)
		}
	}
	return failed
}

// count takes a failure into account: a wait begins, or there were too many.
func (v *revivals) count(s shadow, r *revival, why error) {
	worked := time.Duration(0)
	if !r.began.IsZero() {
		worked = time.Since(r.began)
	}
	if worked >= proven {
		r.failures, r.pacing = 0, pacing{}
	}
	r.began = time.Time{}
	if r.failures++; r.failures < v.config.mostFailures() {
		r.due = time.Now().Add(r.pacing.after(worked))
		return
	}
	r.due = time.Time{}
	text := fmt.Sprintf("failed %d times without %v of work in between: %v; it is not started again before the daemon is", r.failures, proven, why)
	v.config.Log.Error("a shadow is not started again", zap.String("shadow", s.name), zap.String("why", text))
	v.mu.Lock()
	defer v.mu.Unlock()
	if s.raised != nil {
		s.raised.operate(v.estimation.newest.Sequence, v.estimation.newest.Wall, text)
	}
}

// schedule waits for the first that is due.
func (v *revivals) schedule() {
	v.stop()
	var first time.Time
	for _, r := range v.of {
		if !r.due.IsZero() && (first.IsZero() || r.due.Before(first)) {
			first = r.due
		}
	}
	if !first.IsZero() {
		v.timer = time.NewTimer(max(0, time.Until(first)))
	}
}

// again starts those that are due.
func (v *revivals) again(ctx context.Context) {
	for _, s := range v.failing() {
		if r := v.of[s.name]; r != nil && r.failed == s.run && !r.due.IsZero() && !time.Now().Before(r.due) {
			if err := v.start(ctx, s); err != nil && ctx.Err() == nil {
				v.config.Log.Error("a shadow did not come back", zap.String("shadow", s.name), zap.Error(err))
				v.count(s, r, err)
			} else {
				r.due, r.began = time.Time{}, time.Now()
			}
		}
	}
	v.schedule()
}

// start puts a shadow that was started again in the place of the one that failed.
func (v *revivals) start(ctx context.Context, s shadow) error {
	v.estimation.swap.lock()
	defer v.estimation.swap.unlock()
	if v.open.Err() != nil {
		return ErrClosed
	}
	next, err := v.bring(ctx, s.candidate, v.keptFor(s.name, s.candidate), untold())
	if err != nil {
		return err
	}
	v.mu.Lock()
	old, err := v.takeShadow(s.name, false)
	if err == nil {
		v.putInShadow(s.name, next, true)
	}
	v.mu.Unlock()
	if err != nil { // somebody removed it meanwhile
		v.abandon(next)
		return nil
	}
	old.close()
	return nil
}
