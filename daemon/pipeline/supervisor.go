package pipeline

import (
	"context"
	"fmt"
	"time"

	"go.uber.org/zap"
)

// An estimator that fails so often, without so much work between two failures, is not started again: it does not serve, and each start of it
// would be one more change of the offset.
const (
	usualMostFailures = 10
	proven            = time.Hour
)

// supervisor looks after the estimator in force. It works, or it failed and waits to be started again, or it is quarantined; whatever it is,
// another one may be put in force at any moment, which ends that. Its methods belong to one goroutine.
//
//	working ── fails ──▶ waiting ── wait over, starts ──▶ working
//	                       │ ▲ does not start
//	                       ▼ └──
//	                  too many failures ──▶ quarantined
type supervisor struct {
	*Conductor
	failed   *run // in force; nil = working
	raised   *fault
	timer    *time.Timer // of the wait; nil = not waiting
	failures int         // without proven work between them
	pacing   pacing

	own   *run // that was started again here
	began time.Time
}

// Run supervises the estimator until ctx ends: one that failed is started again, warmed up with the retained summaries, while the
// offset it gave last is held and its uncertainty grows. One that fails too often is quarantined: it stays as it is until another is put in
// force, by a swap or with the daemon.
func (c *Conductor) Run(ctx context.Context) error {
	s, shadows := supervisor{Conductor: c}, revivals{Conductor: c, of: map[string]*revival{}}
	defer s.stop()
	defer shadows.stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-c.estimation.died:
			c.tellFailedShadows()
			shadows.look()
			s.look()
		case <-shadows.wait():
			shadows.again(ctx)
		case <-s.due():
			s.again(ctx)
		}
	}
}

// due gives when the wait is over; nil = there is none.
func (s *supervisor) due() <-chan time.Time {
	if s.timer == nil {
		return nil
	}
	return s.timer.C
}

func (s *supervisor) stop() {
	if s.timer != nil {
		s.timer.Stop()
		s.timer = nil
	}
}

// look sees what became of the estimator in force.
func (s *supervisor) look() {
	if s.failed != nil && !s.inForce(s.failed) {
		s.over()
	}
	failed := s.failedInForce()
	if failed == nil || failed == s.failed {
		return
	}
	worked := time.Duration(0)
	if failed == s.own {
		worked = time.Since(s.began)
	}
	if failed != s.own || worked >= proven {
		s.failures, s.pacing = 0, pacing{}
	}
	s.failed = failed
	s.config.Log.Error("estimator failed; its last offset is held", zap.String("estimator", failed.name()), zap.Uint64("generation", failed.generation),
		zap.Error(failed.failure()))
	s.raise(failed)
	s.count(failed.failure(), worked)
}

// count takes a failure into account: a wait begins, or there were too many.
func (s *supervisor) count(why error, worked time.Duration) {
	s.failures++
	if s.failures >= s.config.mostFailures() {
		s.quarantine(why)
		return
	}
	s.timer = time.NewTimer(s.pacing.after(worked))
}

func (c *ConductorConfig) mostFailures() int {
	if c.MostFailures == 0 {
		return usualMostFailures
	}
	return c.MostFailures
}

// quarantine leaves the estimator as it is.
func (s *supervisor) quarantine(why error) {
	r := s.failed
	text := fmt.Sprintf("quarantined at failure %d without %v of work in between: %v; it is not started again until a swap, a revert or "+
		"a start of the daemon, and its last offset is held, less and less certain", s.failures, proven, why)
	s.config.Log.Error("estimator is not started again", zap.String("estimator", r.name()), zap.Uint64("generation", r.generation), zap.String("why", text))
	s.mu.Lock()
	defer s.mu.Unlock()
	s.estimation.quarantined = r
	s.raised.operate(s.estimation.newest.Sequence, s.estimation.newest.Wall, text)
}

// again starts the estimator that failed again.
func (s *supervisor) again(ctx context.Context) {
	s.stop()
	s.estimation.swap.lock()
	defer s.estimation.swap.unlock()
	if !s.inForce(s.failed) || s.open.Err() != nil {
		s.over()
		return
	}
	candidate := s.failed.candidate
	_, err := s.replace(ctx, candidate, s.keptFor("", candidate), &progress{tell: func(Progress) {}, again: true})
	switch {
	case err == nil:
		s.own, s.began = s.running(), time.Now()
		s.over()
	case ctx.Err() == nil:
		s.config.Log.Error("estimator did not come back", zap.String("estimator", s.failed.name()), zap.Error(err))
		s.count(err, 0)
	}
}

// over ends a failure: another estimator is in force.
func (s *supervisor) over() {
	s.stop()
	s.mu.Lock()
	defer s.mu.Unlock()
	s.raised.clear(s.estimation.newest.Sequence, s.estimation.newest.Wall)
	s.failed, s.raised = nil, nil
}

func (s *supervisor) raise(r *run) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.raised = s.events.estimatorFault(r.name(), r, &s.estimation.newest)
}

// running gives the estimator in force.
func (c *Conductor) running() *run {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.estimation.current
}

func (r *run) name() string { return r.candidate.Program.Name() }
