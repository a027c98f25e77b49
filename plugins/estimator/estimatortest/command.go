package estimatortest

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"testing"

	"github.com/ampledger/ampledger/plugins/plugin"
	"github.com/ampledger/ampledger/plugins/plugintest"
)

// RunCommand checks an executable that serves an estimator: its process and what it answers. It takes some twenty times as long as the
// executable takes to start.
func RunCommand(t *testing.T, x plugintest.Executable, settings map[string]any) {
	t.Helper()
	x.Run(t, plugin.KindEstimator)
	run(t, commands(x, settings), slices.Concat(checks, asCommand))
}

// asCommand is what takes the place of the checks in inProcess.
var asCommand = []check{{"knows after a restart what it knew", suite.knowsAfterRestart}}

// The numbers of summaries after which knowsAfterRestart restarts an estimator: while it knows nothing, between the rests, in the second.
var restarts = []int{0, 91, 143}

// A snapshot is taken after every summary, which must not disturb: the answers are those of an estimator from which none is taken. What is
// restored from some of them must be as good as what was kept.
func (s suite) knowsAfterRestart(ctx context.Context) error {
	kept, err := s.start(ctx)
	undisturbed, again := s.start(ctx)
	if err := errors.Join(err, again); err != nil {
		return err
	}
	summaries, said := healthy(), said{}
	for k := range len(summaries) + 1 {
		state, err := kept.Snapshot()
		if err == nil && slices.Contains(restarts, k) {
			err = s.goesOn(ctx, state, summaries[k:], said)
		}
		if err == nil && k < len(summaries) {
			err = said.take(same(kept, undisturbed, summaries[k]))
		}
		if err != nil {
			return fmt.Errorf("snapshot after %d summaries: %w", k, err)
		}
	}
	return nil
}

// goesOn restores a state twice; both must answer the same, and no worse than was said before.
func (s suite) goesOn(ctx context.Context, state []byte, summaries []*plugin.Summary, said said) error {
	first, err := s.restoring(ctx, state)
	second, again := s.restoring(ctx, state)
	if err := errors.Join(err, again); err != nil {
		return err
	}
	for _, summary := range summaries[:min(10, len(summaries))] {
		answer, err := same(first, second, summary)
		if err == nil {
			err = said.check(answer)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

func (s suite) restoring(ctx context.Context, state []byte) (plugin.Estimator, error) {
	e, err := s.start(ctx)
	if err == nil {
		err = restore(e, state, 0)
	}
	return e, err
}

// said is the newest estimate of each channel.
type said map[string]*plugin.ChannelEstimate

func (s said) take(answer *plugin.Answer, err error) error {
	for _, e := range answer.GetChannels() {
		s[e.GetName()] = e
	}
	return err
}

// check wants what was said of each channel to be known still: the offset within its uncertainties, and that not twice as large.
func (s said) check(answer *plugin.Answer) error {
	for _, e := range answer.GetChannels() {
		before, known := s[e.GetName()]
		u, was := e.GetStandardUncertaintyAmperes(), before.GetStandardUncertaintyAmperes()
		if moved := math.Abs(e.GetOffsetAmperes() - before.GetOffsetAmperes()); known && (u > 2*was || moved > 3*math.Hypot(u, was)) {
			return fmt.Errorf("channel %q: %g A ± %g A was known before it, %g A ± %g A after it is restored",
				e.GetName(), before.GetOffsetAmperes(), was, e.GetOffsetAmperes(), u)
		}
	}
	return nil
}
