package pipeline

import (
	"context"
	"math/rand/v2"
	"time"
)

// pacing is how long to wait before a plugin that failed is started again. The wait grows from failure to failure until the plugin works for
// longer than was waited for it: one that fails at once again and again takes little of the machine, and of one that gives an hour's readings
// between two failures hardly any are missed.
type pacing struct {
	attempt int
	waited  time.Duration
}

// after gives the wait after a failure, before which the plugin worked for so long.
func (p *pacing) after(worked time.Duration) time.Duration {
	if worked > p.waited {
		p.attempt = 0
	}
	p.waited = backoff(p.attempt)
	p.attempt++
	return p.waited
}

// backoff is how long to wait before the next attempt: 0.5 s, doubling to a minute, up to a quarter more by chance, so that plugins
// that failed together do not come back together.
func backoff(attempt int) time.Duration {
	base := min(time.Minute, 500*time.Millisecond<<min(attempt, 10))
	return base + rand.N(base/4+1)
}

// pause waits; false = ctx ended first.
func pause(ctx context.Context, d time.Duration) bool {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-ctx.Done():
		return false
	case <-timer.C:
		return true
	}
}
