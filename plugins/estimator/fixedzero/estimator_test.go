package fixedzero_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/ampledger/ampledger/plugins/estimator/estimatortest"
	"github.com/ampledger/ampledger/plugins/estimator/fixedzero"
	"github.com/ampledger/ampledger/plugins/plugin"
	pluginv1 "github.com/ampledger/ampledger/proto/ampledger/plugin/v1"
)

const (
	second = int64(1e9)
	hour   = 3600 * second
)

type with = map[string]any

func TestConformance(t *testing.T) {
	for name, settings := range map[string]with{
		"defaults":  nil,
		"each rest": {"zero": "each-rest", "walk_amperes_per_root_hour": 0.1, "residual_amperes": 0.01, "minimum_rest_seconds": 2},
		"declared":  {"zero": "declared", "channels": with{estimatortest.Shunt: with{"offset_amperes": 0.3, "walk_amperes_per_root_hour": 1}}},
	} {
		t.Run(name, func(t *testing.T) {
			estimatortest.Run(t, func() plugin.Estimator { return fixedzero.New() }, settings)
		})
	}
}

// configure gives an estimator of the channel "main", zero known to 0.5 A beforehand and noise 0.2 A, and of "aux".
func configure(t *testing.T, settings with) (e *fixedzero.Estimator, method string, err error) {
	t.Helper()
	decodable, err := plugin.NewSettings(settings)
	if err != nil {
		t.Fatal(err)
	}
	e = fixedzero.New()
	method, err = e.Configure(t.Context(), plugin.Conductor{Name: "pack", Channels: []*plugin.Channel{
		{Name: "main", ZeroUncertaintyAmperes: 0.5, NoiseAmperes: 0.2}, {Name: "aux", ZeroUncertaintyAmperes: 2},
	}}, decodable)
	return e, method, err
}

// script plays summaries of a second with ten readings each, without a hole.
type script struct {
	*testing.T
	*fixedzero.Estimator
	sequence uint64
	now      int64
}

func play(t *testing.T, settings with) *script {
	t.Helper()
	e, _, err := configure(t, settings)
	if err != nil {
		t.Fatal(err)
	}
	return &script{T: t, Estimator: e}
}

const (
	rest    = pluginv1.Rest_REST_CERTAIN
	load    = pluginv1.Rest_REST_NONE
	unknown = pluginv1.Rest_REST_UNSPECIFIED
)

// next observes one summary for each mean and gives the last estimate.
func (s *script) next(state pluginv1.Rest, means ...float64) (last *plugin.ChannelEstimate) {
	for _, mean := range means {
		last = s.observe(state, &plugin.ChannelSummary{Name: "main", ReadingCount: 10, MeanAmperes: mean})
	}
	return last
}

func (s *script) observe(state pluginv1.Rest, c *plugin.ChannelSummary) *plugin.ChannelEstimate {
	s.Helper()
	estimates, err := s.Observe(&plugin.Summary{
		Device: "daq", FirstSequence: s.sequence, LastSequence: s.sequence + 9, FirstMonotonicNanos: s.now, LastMonotonicNanos: s.now + second, Rest: state,
		Channels: []*plugin.ChannelSummary{c},
	})
	if err != nil || len(estimates) != 1 || estimates[0].GetName() != "main" {
		s.Fatal(estimates, err)
	}
	s.sequence, s.now = s.sequence+10, s.now+second
	return estimates[0]
}

func (s *script) want(what string, got *plugin.ChannelEstimate, offset, u float64) {
	s.Helper()
	if math.Abs(got.GetOffsetAmperes()-offset) > 1e-12 || math.Abs(got.GetStandardUncertaintyAmperes()-u) > 1e-9 {
		s.Errorf("%s: %v A ± %v A, want %v A ± %v A", what, got.GetOffsetAmperes(), got.GetStandardUncertaintyAmperes(), offset, u)
	}
}

// The means 1, 2, 3, 4, 5 A have s² = 2.5 A², so that u = s/√m = √0.5 A; 1 to 6 A have s² = 3.5 A².
func TestFirstRestIsHeld(t *testing.T) {
	s := play(t, nil)
	s.want("before", s.next(load, 100), 0, 0.5)
	s.want("rest of 4 s", s.next(rest, 1, 2, 3, 4), 0, 0.5)
	s.want("rest of 5 s", s.next(rest, 5), 3, math.Sqrt(2.5/5))
	s.want("the rest goes on", s.next(rest, 6), 3.5, math.Sqrt(3.5/6))
	s.want("after", s.next(load, 100), 3.5, math.Sqrt(3.5/6))
	s.want("the next rest", s.next(rest, 9, 9, 9, 9, 9, 9, 9), 3.5, math.Sqrt(3.5/6))
}

func TestEachRestIsTakenAnew(t *testing.T) {
	s := play(t, with{"zero": "each-rest", "minimum_rest_seconds": 2})
	s.want("first", s.next(rest, 1, 3), 2, 1)
	s.want("a rest too short", s.next(load, 100), 2, 1)
	s.want("a rest too short", s.next(rest, 7), 2, 1)
	s.next(load, 100)
	s.want("second", s.next(rest, 4, 5), 4.5, 0.5)
}

func TestDeclaredIsHeld(t *testing.T) {
	s := play(t, with{"zero": "declared", "channels": with{"main": with{"offset_amperes": -1.5, "uncertainty_amperes": 0.02}}})
	s.want("load", s.next(load, 100), -1.5, 0.02)
	s.want("rest", s.next(rest, 7, 7, 7, 7, 7, 7, 7), -1.5, 0.02)
	s = play(t, with{"zero": "declared", "channels": with{"main": with{"offset_amperes": -1.5}}})
	s.want("with the sensor's own uncertainty", s.next(load, 100), -1.5, 0.5)
	s = play(t, with{"zero": "declared", "channels": with{"main": nil}})
	s.want("nothing declared", s.next(load, 100), 0, 0.5)
	s = play(t, with{"channels": with{"main": with{"offset_amperes": -1.5}}})
	s.want("until the first rest", s.next(load, 100), -1.5, 0.5)
	s.want("from the first rest", s.next(rest, 7, 7, 7, 7, 7), 7, 0)
}

func TestMethodIsToldByMode(t *testing.T) {
	for mode, want := range map[string]string{
		"first-rest": "the mean over the first rest, held", "each-rest": "the mean over the newest rest, held until the next",
		"declared": "the declared zero, held",
	} {
		if _, method, err := configure(t, with{"zero": mode}); err != nil || method != want {
			t.Errorf("%s: %q, %v", mode, method, err)
		}
	}
}

// u² = s²/m + u_residual²: 1 and 3 A have s² = 2 A², so 1 A² of the mean, and with 0.75 A it makes 1.25 A.
func TestResidualCurrentIsAdded(t *testing.T) {
	s := play(t, with{"residual_amperes": 0.75, "minimum_rest_seconds": 2})
	s.want("1 and 3 A", s.next(rest, 1, 3), 2, 1.25)
}

// 0.1 A/√h after 4 h are 0.2 A. The clock starts at the first summary, and anew with a zero.
func TestUncertaintyWalks(t *testing.T) {
	settings := with{"minimum_rest_seconds": 1, "walk_amperes_per_root_hour": 0.1, "channels": with{"main": with{"uncertainty_amperes": 0}}}
	s := play(t, settings)
	s.now = 77 * hour
	s.next(load, 100)
	s.now += 4*hour - 2*second
	s.want("declared, 4 h later", s.next(load, 100), 0, 0.2)
	s.want("from a rest", s.next(rest, 1, 1), 1, 0)
	s.now += 4*hour - second
	got := s.next(load, 100)
	s.want("4 h later", got, 1, 0.2)
	if walk := got.GetWalkAmperesPerRootSecond(); math.Abs(walk-0.1/60) > 1e-15 {
		t.Errorf("walk %v A/√s, want 0.1 A/√h", walk)
	}
	settings["channels"] = with{"main": with{"uncertainty_amperes": 0.3, "walk_amperes_per_root_hour": 0.2}}
	s = play(t, settings)
	s.next(load, 100)
	s.now += 4*hour - 2*second
	s.want("its own walk, 0.3 A ⊕ 0.4 A", s.next(load, 100), 0, 0.5)
}

// A device that starts again has another time base; the uncertainty must not stand still until it has caught up.
func TestUncertaintyWalksOnWhenTimeStartsAgain(t *testing.T) {
	s := play(t, with{"walk_amperes_per_root_hour": 0.1, "channels": with{"main": with{"uncertainty_amperes": 0}}})
	s.now = 77 * hour
	s.next(load, 100)
	s.now = 0
	s.next(load, 100)
	s.now += 4*hour - 3*second
	s.want("4 h seen", s.next(load, 100), 0, 0.2)
}

// What is only partly a rest, or perhaps one, teaches nothing and ends the rest before it. So does a hole, or a clock set back.
func TestRestIsOnlyWhatIsCertainAndWhole(t *testing.T) {
	for name, interrupt := range map[string]func(*script){
		"partly":         func(s *script) { s.next(load, 50) },
		"not known":      func(s *script) { s.next(unknown, 50) },
		"lost scans":     func(s *script) { s.sequence++ },
		"clock set back": func(s *script) { s.now -= 100 * second },
	} {
		s := play(t, nil)
		s.next(rest, 9, 9, 9)
		interrupt(s)
		s.want(name+": 4 s of rest", s.next(rest, 1, 1, 1, 1), 0, 0.5)
		s.want(name+": 5 s of rest", s.next(rest, 1), 1, 0)
	}
}

func TestSummariesWithoutReadingsDoNotEndARest(t *testing.T) {
	s := play(t, nil)
	s.next(rest, 1, 3)
	s.observe(rest, &plugin.ChannelSummary{Name: "main", UnusableCount: 10})
	s.want("5 s", s.next(rest, 1, 3), 2, math.Sqrt(4./3/4))
}

// The zero is the mean over the readings: 10 of 1 A and 30 of 3 A are 2.5 A. Together they are worth 40²/(10² + 30²) = 1.6 equal summaries;
// s² = (10·1.5² + 30·0.5²)/40/(1 − 1/1.6) = 2 A², u² = s²/1.6.
func TestSummariesWeighByTheirReadings(t *testing.T) {
	s := play(t, with{"minimum_rest_seconds": 2})
	s.next(rest, 1)
	s.want("10 and 30", s.observe(rest, &plugin.ChannelSummary{Name: "main", ReadingCount: 30, MeanAmperes: 3}), 2.5, math.Sqrt(2/1.6))
}

// Few summaries may agree by chance: u is not less than noise/√n. A single reading has no scatter: the sensor's noise of 0.2 A stands in.
func TestUncertaintyIsNotLessThanTheNoise(t *testing.T) {
	s := play(t, with{"minimum_rest_seconds": 1})
	noisy := &plugin.ChannelSummary{Name: "main", ReadingCount: 10, MeanAmperes: 1, VarianceSquareAmperes: 0.9}
	s.want("one summary", s.observe(rest, noisy), 1, 0.3)
	s.want("two that agree", s.observe(rest, noisy), 1, 0.3/math.Sqrt2)
	s = play(t, with{"minimum_rest_seconds": 1})
	s.want("one reading", s.observe(rest, &plugin.ChannelSummary{Name: "main", ReadingCount: 1, MeanAmperes: 1}), 1, 0.2)
}

func TestFiguresThatAreNoneTeachNothing(t *testing.T) {
	for _, figure := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), math.MaxFloat64} {
		s := play(t, nil)
		s.next(rest, 1, 3)
		s.observe(rest, &plugin.ChannelSummary{Name: "main", ReadingCount: 10, MeanAmperes: figure})
		s.observe(rest, &plugin.ChannelSummary{Name: "main", ReadingCount: 10, VarianceSquareAmperes: figure})
		s.want(fmt.Sprint(figure), s.next(rest, 1, 3), 2, math.Sqrt(4./3/4))
	}
}

func TestUnknownChannelIsAnError(t *testing.T) {
	s := play(t, nil)
	_, err := s.Observe(&plugin.Summary{Channels: []*plugin.ChannelSummary{{Name: "other"}}})
	if err == nil || err.Error() != `channel "other" was not configured` {
		t.Error(err)
	}
}

func TestSettingsFaultsAreNamed(t *testing.T) {
	for _, c := range []struct {
		want     string
		settings with
	}{
		{`setting zero: "last-rest" is none of first-rest, each-rest, declared`, with{"zero": "last-rest"}},
		{"setting minimum_rest_seconds: -1 must be 0 or more, and finite", with{"minimum_rest_seconds": -1}},
		{"setting residual_amperes: -0.5 must be 0 or more, and finite", with{"residual_amperes": -0.5}},
		{"setting walk_amperes_per_root_hour: -2 must be 0 or more, and finite", with{"walk_amperes_per_root_hour": -2}},
		{`setting channels: the conductor has no channel "mian"`, with{"channels": with{"mian": nil}}},
		{"setting channels.aux.uncertainty_amperes: -1 must be 0 or more, and finite", with{"channels": with{"aux": with{"uncertainty_amperes": -1}}}},
		{"setting channels.aux.walk_amperes_per_root_hour: -1 must be 0 or more, and finite",
			with{"channels": with{"aux": with{"walk_amperes_per_root_hour": -1}}}},
		{`unknown setting "rest"`, with{"rest": 1}},
		{`unknown setting "offset" in "channels.aux"`, with{"channels": with{"aux": with{"offset": 1}}}},
		{`setting "residual_amperes": a string stands where a number is wanted`, with{"residual_amperes": "1 A"}},
		{"setting zero: \"\" is none of first-rest, each-rest, declared\nsetting residual_amperes: -1 must be 0 or more, and finite",
			with{"zero": "", "residual_amperes": -1}},
	} {
		if _, _, err := configure(t, c.settings); err == nil || !strings.HasPrefix(err.Error(), c.want) {
			t.Errorf("error %v, want %s", err, c.want)
		}
	}
}

// restart snapshots a script and goes on with another estimator, perhaps with other settings.
func (s *script) restart(settings with) *script {
	s.Helper()
	state, err := s.Snapshot()
	if err != nil {
		s.Fatal(err)
	}
	next := play(s.T, settings)
	if err := next.Restore(state); err != nil {
		s.Fatal(err)
	}
	next.sequence, next.now = s.sequence, s.now
	return next
}

func TestSnapshot(t *testing.T) {
	walking := with{"walk_amperes_per_root_hour": 0.1, "minimum_rest_seconds": 2, "channels": with{"main": with{"offset_amperes": 7, "uncertainty_amperes": 0}}}
	s := play(t, walking)
	s.next(rest, 1, 1)
	s.now += 2*hour - second
	s.next(load, 100)
	s.now += 2*hour - second
	s.want("a zero goes on ageing", s.restart(walking).next(load, 100), 1, 0.2)
	s.want("a rest that goes on refines it no more", s.restart(walking).next(rest, 5, 5), 1, 0.2*math.Sqrt((4*3600+1)/(4*3600.)))
	walking["zero"] = "declared"
	s.want("what is declared goes before", s.restart(walking).next(load, 100), 7, 0.1/60)

	s = play(t, walking)
	s.next(load, 100)
	s.now += 4*hour - 2*second
	s.want("what is declared goes on ageing", s.restart(walking).next(load, 100), 7, 0.2)
	walking["channels"] = with{"main": with{"offset_amperes": 8, "uncertainty_amperes": 0}}
	s.want("what is declared anew does not", s.restart(walking).next(load, 100), 8, 0.1/60)

	s = play(t, nil)
	s.next(rest, 1, 2, 3)
	s.want("within a rest", s.restart(nil).next(rest, 4, 5), 3, math.Sqrt(2.5/5))
	s.sequence++
	s.want("scans lost meanwhile", s.restart(nil).next(rest, 4, 5), 0, 0.5)
}

func TestSnapshotsThatMakeNoSenseAreRefused(t *testing.T) {
	for state, want := range map[string]string{
		"":                                    "no snapshot of fixedzero: unexpected end of JSON input",
		`{"format":"kalman/1"}`:               `snapshot is of format "kalman/1", this estimator reads "fixedzero/1"`,
		`{"format":"fixedzero/`:               "no snapshot of fixedzero",
		zeros(`null`):                         `snapshot, channel "main": nothing is known of it`,
		zeros(`{"age_nanos":-1}`):             `snapshot, channel "main": uncertainty 0 A, age -1 ns`,
		zeros(`{"uncertainty_amperes":-0.1}`): `snapshot, channel "main": uncertainty -0.1 A, age 0 ns`,
		zeros(`{"rest":{"begun":true}}`):      `snapshot, channel "main": rest of 0 readings with mean 0 A`,
		zeros(`{"rest":{"begun":true,"readings":-1}}`): `snapshot, channel "main": rest of -1 readings with mean 0 A`,
	} {
		s := play(t, nil)
		if err := s.Restore([]byte(state)); err == nil || !strings.HasPrefix(err.Error(), want) {
			t.Errorf("%s: error %v, want %s", state, err, want)
		}
		s.want("after a refusal", s.next(load, 100), 0, 0.5)
	}
}

func zeros(main string) string { return `{"format":"fixedzero/1","zeros":{"main":` + main + `}}` }
