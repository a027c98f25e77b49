// Package estimatortest is the conformance suite for estimators: what the daemon relies on beyond the types.
//
//	func TestConformance(t *testing.T) {
//		estimatortest.Run(t, func() plugin.Estimator { return myestimator.New() }, map[string]any{"zero": "…"})
//	}
//
// or, of an executable in any language,
//
//	func TestConformance(t *testing.T) {
//		estimatortest.RunCommand(t, plugintest.Executable{Path: "./myestimator", Plaintext: true}, map[string]any{"zero": "…"})
//	}
//
// The suite's conductor has the channels Shunt and Magnetic, on two devices; settings may name them. Run needs no daemon, no time and no
// goroutine of its own; RunCommand starts some two dozen processes, a few at a time, and ends them.
package estimatortest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// The channels of the suite's conductor.
const (
	Shunt    = "shunt"
	Magnetic = "magnetic"
)

// Run checks estimators made by open and configured with settings.
func Run(t *testing.T, open func() plugin.Estimator, settings map[string]any) {
	t.Helper()
	run(t, suite{open: open, settings: settings}, slices.Concat(checks, inProcess))
}

func run(t *testing.T, s suite, checks []check) {
	t.Helper()
	for _, c := range checks {
		t.Run(c.name, func(t *testing.T) {
			if err := s.make(t.Context(), c); err != nil {
				t.Error(err)
			}
		})
	}
}

// check is one thing that the suite wants of an estimator.
type check struct {
	name string
	of   func(suite, context.Context) error
}

type suite struct {
	open     func() plugin.Estimator
	settings map[string]any
	close    func() error // ends what open opened; nil = there is nothing to end
}

// make makes a check and ends the estimators that it opened.
func (s suite) make(ctx context.Context, c check) error {
	err := c.of(s, ctx)
	if s.close != nil {
		err = errors.Join(err, s.close())
	}
	return err
}

var checks = []check{
	{"says its method", suite.saysItsMethod},
	{"gives sound estimates", suite.givesSoundEstimates},
	{"takes marks and a fused current", suite.takesMarksAndFused},
	{"derives sound outputs", suite.derivesSoundOutputs},
	{"gives the same again", suite.givesTheSameAgain},
	{"gets older", suite.getsOlder},
	{"refuses a foreign snapshot", suite.refusesForeignSnapshots},
	{"refuses an unknown setting by its name", suite.refusesUnknownSetting},
	{"refuses an unknown channel", suite.refusesUnknownChannel},
}

// inProcess is what cannot be asked of a process: the daemon says with each restoring that a new time base begins.
var inProcess = []check{{"continues from each snapshot", suite.continuesFromSnapshots}}

func conductor() plugin.Conductor {
	return plugin.Conductor{Name: "pack", Channels: []*plugin.Channel{
		{Name: Shunt, ZeroUncertaintyAmperes: 0.5, NoiseAmperes: 0.2, FullScaleAmperes: 500},
		{Name: Magnetic, ZeroUncertaintyAmperes: 2, NoiseAmperes: 0.1},
	}}
}

func (s suite) configure(ctx context.Context, settings map[string]any) (e plugin.Estimator, method string, err error) {
	decodable, err := plugin.NewSettings(settings)
	if err != nil {
		return nil, "", err
	}
	e = s.open()
	method, err = e.Configure(ctx, conductor(), decodable)
	return e, method, err
}

// start gives a configured estimator.
func (s suite) start(ctx context.Context) (plugin.Estimator, error) {
	e, _, err := s.configure(ctx, s.settings)
	if err != nil {
		return nil, fmt.Errorf("configuring: %w", err)
	}
	return e, nil
}

func (s suite) saysItsMethod(ctx context.Context) error {
	_, method, err := s.configure(ctx, s.settings)
	if err == nil && (method == "" || strings.ContainsAny(method, "\r\n")) {
		err = fmt.Errorf("the method is %q, want one line", method)
	}
	return err
}

// observe hands over a copy, since an estimator may keep what it is given, and checks the answer.
func observe(e plugin.Estimator, summary *plugin.Summary) (*plugin.Answer, error) {
	answer, err := ask(e, proto.CloneOf(summary))
	if err == nil {
		err = errors.Join(checkAddress(summary, answer), checkEstimates(answer.GetChannels()), checkFused(summary, answer), checkOutputs(e, answer))
	}
	if err != nil {
		return nil, fmt.Errorf("summary of %s through %d: %w", summary.GetDevice(), summary.GetLastSequence(), err)
	}
	return answer, nil
}

// ask is plugin.Ask, but for an estimator that is a process: that one has answered itself.
func ask(e plugin.Estimator, summary *plugin.Summary) (*plugin.Answer, error) {
	if r, is := e.(*remote); is {
		return r.ask(summary)
	}
	return plugin.Ask(e, summary)
}

func checkAddress(summary *plugin.Summary, answer *plugin.Answer) error {
	if answer.GetDevice() != summary.GetDevice() || answer.GetThroughSequence() != summary.GetLastSequence() {
		return fmt.Errorf("the answer is for the summary of %q through %d", answer.GetDevice(), answer.GetThroughSequence())
	}
	return nil
}

func checkEstimates(estimates []*plugin.ChannelEstimate) error {
	seen := map[string]bool{}
	for _, e := range estimates {
		offset, u, walk := e.GetOffsetAmperes(), e.GetStandardUncertaintyAmperes(), e.GetWalkAmperesPerRootSecond()
		switch {
		case e.GetName() != Shunt && e.GetName() != Magnetic:
			return fmt.Errorf("an estimate of channel %q, which was not configured", e.GetName())
		case seen[e.GetName()]:
			return fmt.Errorf("two estimates of channel %q", e.GetName())
		case offset-offset != 0 || u-u != 0 || walk-walk != 0 || u < 0 || walk < 0:
			return fmt.Errorf("channel %q: %g A ± %g A, walk %g A/√s", e.GetName(), offset, u, walk)
		}
		seen[e.GetName()] = true
	}
	return nil
}

// Also after summaries that a sick device may make.
func (s suite) givesSoundEstimates(ctx context.Context) error {
	e, err := s.start(ctx)
	if err != nil {
		return err
	}
	given := 0
	for _, summary := range slices.Concat(healthy(), sick(), healthy()) {
		answer, err := observe(e, summary)
		if err != nil {
			return err
		}
		given += len(answer.GetChannels())
	}
	if given == 0 && !derives(e) {
		return errors.New("no estimate was given")
	}
	_, err = e.Snapshot()
	return err
}

// follow hands over the summaries and wants the answers to be those of the other, if there is one, to the last bit.
func follow(e, other plugin.Estimator, summaries []*plugin.Summary) error {
	for _, summary := range summaries {
		if _, err := same(e, other, summary); err != nil {
			return err
		}
	}
	return nil
}

// same gives the answer of both, which must be the same to the last bit.
func same(e, other plugin.Estimator, summary *plugin.Summary) (*plugin.Answer, error) {
	a, err := observe(e, summary)
	if err != nil {
		return nil, err
	}
	b, err := observe(other, summary)
	if err != nil {
		return nil, err
	}
	if !sameBits(a, b) {
		return nil, fmt.Errorf("summary of %s through %d: answered %v, then %v", summary.GetDevice(), summary.GetLastSequence(), a, b)
	}
	return a, nil
}

// sameBits tells 0 from −0, which proto.Equal does not.
func sameBits(a, b *plugin.Answer) bool {
	deterministic := proto.MarshalOptions{Deterministic: true}
	left, err := deterministic.Marshal(a)
	right, again := deterministic.Marshal(b)
	return err == nil && again == nil && bytes.Equal(left, right)
}

func (s suite) givesTheSameAgain(ctx context.Context) error {
	e, err := s.start(ctx)
	other, again := s.start(ctx)
	if err := errors.Join(err, again); err != nil {
		return err
	}
	return follow(e, other, healthy())
}

// A snapshot is taken after each summary; it must not disturb, and what is restored from it must answer as the one that went on.
func (s suite) continuesFromSnapshots(ctx context.Context) error {
	summaries := healthy()
	for k := range len(summaries) + 1 {
		if err := s.continuesAfter(ctx, summaries[:k], summaries[k:]); err != nil {
			return fmt.Errorf("snapshot after %d summaries: %w", k, err)
		}
	}
	return nil
}

func (s suite) continuesAfter(ctx context.Context, before, after []*plugin.Summary) error {
	e, err := s.start(ctx)
	restored, again := s.start(ctx)
	if err := errors.Join(err, again); err != nil {
		return err
	}
	for _, summary := range before {
		if _, err := observe(e, summary); err != nil {
			return err
		}
	}
	state, err := e.Snapshot()
	if err != nil {
		return fmt.Errorf("taking it: %w", err)
	}
	if err := restored.Restore(state); err != nil {
		return fmt.Errorf("restoring it: %w", err)
	}
	return follow(e, restored, after)
}

func (s suite) refusesForeignSnapshots(ctx context.Context) error {
	for _, state := range []string{"", "{}", "null", `{"format":"another/1"}`, "another/1\n\x00\xff"} {
		e, err := s.start(ctx)
		if err != nil {
			return err
		}
		if e.Restore([]byte(state)) == nil {
			return fmt.Errorf("snapshot %q was restored", state)
		}
	}
	return nil
}

func (s suite) refusesUnknownSetting(ctx context.Context) error {
	const unknown = "no_such_setting"
	with := map[string]any{unknown: true}
	maps.Copy(with, s.settings)
	if _, _, err := s.configure(ctx, with); err == nil || !strings.Contains(err.Error(), unknown) {
		return fmt.Errorf("configuring: error %v, want an error that names %s", err, unknown)
	}
	return nil
}

func (s suite) refusesUnknownChannel(ctx context.Context) error {
	e, err := s.start(ctx)
	if err != nil {
		return err
	}
	summary := healthy()[0]
	summary.Channels[0].Name = "unheard-of"
	if _, err := ask(e, summary); err == nil {
		return errors.New("a channel that was not configured was taken")
	}
	return nil
}
