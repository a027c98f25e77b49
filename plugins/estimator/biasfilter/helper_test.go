package biasfilter

import (
	"slices"
	"testing"

	"github.com/ampledger/ampledger/plugins/plugin"
	pluginv1 "github.com/ampledger/ampledger/proto/ampledger/plugin/v1"
)

type with = map[string]any

// started gives an estimator of these channels.
func started(t testing.TB, settings with, channels ...*plugin.Channel) *Estimator {
	t.Helper()
	e, err := tried(t, settings, channels...)
	if err != nil {
		t.Fatal(err)
	}
	return e
}

func tried(t testing.TB, settings with, channels ...*plugin.Channel) (*Estimator, error) {
	t.Helper()
	decodable, err := plugin.NewSettings(settings)
	if err != nil {
		t.Fatal(err)
	}
	e := New()
	_, err = e.Configure(t.Context(), plugin.Conductor{Name: "pack", Channels: channels}, decodable)
	return e, err
}

func mainChannel() *plugin.Channel {
	return &plugin.Channel{Name: "main", ZeroUncertaintyAmperes: 0.5, NoiseAmperes: 0.2, FullScaleAmperes: fullScale, GainUncertaintyRatio: 0.002}
}

const (
	restCertain = pluginv1.Rest_REST_CERTAIN
	restNone    = pluginv1.Rest_REST_NONE
	restUnknown = pluginv1.Rest_REST_UNSPECIFIED
)

// script plays summaries of equal length without a hole, each of a hundred readings.
type script struct {
	testing.TB
	*Estimator
	seconds float64
	count   uint64
	nanos   int64
	last    *plugin.ChannelEstimate
	change  func(*plugin.Summary) // of the next summary
	marked  []*plugin.Mark        // that come with the next summary
}

func scriptOf(t testing.TB, e *Estimator) *script { return &script{TB: t, Estimator: e, seconds: 10} }

// next observes a summary in which each channel reads a mean; the last stands for those that are not given.
func (s *script) next(rest pluginv1.Rest, means ...float64) {
	s.Helper()
	length := int64(s.seconds * 1e9)
	summary := &plugin.Summary{
		FirstSequence: s.count * 100, LastSequence: s.count*100 + 99, FirstMonotonicNanos: s.nanos + length/100, LastMonotonicNanos: s.nanos + length, Rest: rest,
	}
	for i, c := range s.channels {
		mean := means[min(i, len(means)-1)]
		summary.Channels = append(summary.Channels, &plugin.ChannelSummary{
			Name: c.name, ReadingCount: 100, MeanAmperes: mean, VarianceSquareAmperes: c.noise * c.noise, MinimumAmperes: mean - 1, MaximumAmperes: mean + 1,
			IntegralSeconds: s.seconds, IntegralCoulombs: mean * s.seconds, PlayMeanRatios: make([]float64, len(c.plays)),
		})
	}
	s.nanos += length
	s.count++
	summary.Marks, s.marked = s.marked, nil
	if s.change != nil {
		s.change(summary)
	}
	estimates, err := s.Observe(summary)
	if err != nil {
		s.Fatal(err)
	}
	if len(estimates) > 0 {
		s.last = estimates[0]
	}
}

// over plays summaries of equal means for some seconds.
func (s *script) over(seconds float64, rest pluginv1.Rest, means ...float64) {
	s.Helper()
	for range int(seconds / s.seconds) {
		s.next(rest, means...)
	}
}

// told gives the subjects of the notes since it was asked last.
func (s *script) told() (subjects []string) {
	for _, n := range s.Notes() {
		subjects = append(subjects, n.GetSubject())
	}
	return subjects
}

func (s *script) wantTold(what string, want ...string) {
	s.Helper()
	if got := s.told(); !slices.Equal(got, want) {
		s.Errorf("%s: notes %q, want %q", what, got, want)
	}
}
