package biasfilter

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/ampledger/ampledger/plugins/estimator/estimatortest"
	"github.com/ampledger/ampledger/plugins/plugin"
)

func TestConformance(t *testing.T) {
	for name, settings := range map[string]with{
		"defaults": nil,
		"everything": {
			"residual_amperes": 0.1, "gate": 16, "difference_seconds": 5, "difference_floor_amperes": 0.5, "reopen_rest_count": 3, "reopen_seconds": 2, "quiescence": true,
			"channels": with{estimatortest.Shunt: with{"hysteresis_amperes": 0.2, "zero_error_amperes": 1}},
		},
	} {
		t.Run(name, func(t *testing.T) {
			estimatortest.Run(t, func() plugin.Estimator { return New() }, settings)
		})
	}
}

func TestPlayHalfWidths(t *testing.T) {
	e := started(t, with{"channels": with{"main": with{"hysteresis_amperes": 0.2, "hysteresis_operators": 3}}}, mainChannel())
	want := []float64{fullScale / 2 / 16, fullScale / 2 / 4, fullScale / 2}
	if got := e.PlayHalfWidths()["main"]; !slices.Equal(got, want) {
		t.Errorf("half-widths %v A, want %v A", got, want)
	}
	if got := started(t, nil, mainChannel()).PlayHalfWidths(); len(got) != 0 {
		t.Errorf("without hysteresis: half-widths %v A", got)
	}
	got := started(t, with{"channels": with{"main": with{"hysteresis_amperes": 0.2, "hysteresis_operators": 12}}}, mainChannel()).PlayHalfWidths()["main"]
	if least := slices.Min(got); len(got) != 12 || least < hysteresisNoises*0.2 {
		t.Errorf("twelve operators, noise 0.2 A: half-widths %v A", got)
	}
}

func TestDefaultsComeFromTheChannel(t *testing.T) {
	got := newFigures(mainChannel(), nil)
	want := figures{zero: 0.5, density: (0.05 / 60) * (0.05 / 60), drift: 0.01, gain: 0.002, noise: 0.2, floor: 0.2 / 100, quiet: 0.2}
	if got.zero != want.zero || math.Abs(got.density-want.density) > 1e-18 || got.drift != want.drift || got.gain != want.gain || got.noise != want.noise ||
		got.floor != want.floor || got.quiet != want.quiet || got.plays != nil {
		t.Errorf("%+v, want %+v", got, want)
	}
}

func TestSettingsFaultsAreNamed(t *testing.T) {
	mine := func(key string, v any) with { return with{"channels": with{"main": with{key: v}}} }
	for _, c := range []struct {
		want     string
		settings with
	}{
		{"setting residual_amperes: -1 must be 0 or more", with{"residual_amperes": -1}},
		{"setting gate: 0 must be above 0", with{"gate": 0}},
		{"setting difference_seconds: 0 must be above 0", with{"difference_seconds": 0}},
		{"setting difference_floor_amperes: 0 must be above 0", with{"difference_floor_amperes": 0}},
		{"setting reopen_rest_count: -1 must be above 0", with{"reopen_rest_count": -1}},
		{"setting reopen_seconds: 0 must be above 0", with{"reopen_seconds": 0}},
		{"setting quiescence_amperes: 0 must be above 0", with{"quiescence_amperes": 0}},
		{`setting channels: the conductor has no channel "mian"`, with{"channels": with{"mian": nil}}},
		{"setting channels.main.zero_error_amperes: 0 must be above 0", mine("zero_error_amperes", 0)},
		{"setting channels.main.zero_walk_amperes_per_root_hour: -1 must be 0 or more", mine("zero_walk_amperes_per_root_hour", -1)},
		{"setting channels.main.zero_drift_amperes_per_kelvin: -1 must be 0 or more", mine("zero_drift_amperes_per_kelvin", -1)},
		{"setting channels.main.hysteresis_amperes: -1 must be 0 or more", mine("hysteresis_amperes", -1)},
		{"setting channels.main.hysteresis_operators: 2.5 must be a whole number from 1 to 12", mine("hysteresis_operators", 2.5)},
		{"setting channels.main.gain_error_ratio: -0.1 must be 0 or more", mine("gain_error_ratio", -0.1)},
		{"setting channels.main.noise_amperes: -1 must be 0 or more", mine("noise_amperes", -1)},
		{"setting channels.main.floor_amperes: 0 must be above 0", mine("floor_amperes", 0)},
		{"setting channels.main.reference_celsius: -300 must be a temperature above -273.15", mine("reference_celsius", -300)},
		{`unknown setting "gates"`, with{"gates": 1}},
		{`unknown setting "offset" in "channels.main"`, mine("offset", 1)},
		{"setting residual_amperes: -1 must be 0 or more, and finite\nsetting gate: -2 must be above 0", with{"residual_amperes": -1, "gate": -2}},
	} {
		if _, err := tried(t, c.settings, mainChannel()); err == nil || !strings.HasPrefix(err.Error(), c.want) {
			t.Errorf("error %v, want %s", err, c.want)
		}
	}
}

func TestWhatIsNotKnownOfAChannelIsAskedFor(t *testing.T) {
	_, err := tried(t, with{"channels": with{"bare": with{"hysteresis_amperes": 1}}}, &plugin.Channel{Name: "bare"})
	for _, want := range []string{"channels.bare.zero_error_amperes: nothing is known", "full scale is not known"} {
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("error %v, want %s", err, want)
		}
	}
}

// course plays a day and a half of everything on two channels, from one summary to another.
func course(s *script, from, to int) {
	s.Helper()
	for k := from; k < to; k++ {
		rest := restNone
		if k%100 > 85 {
			rest = restCertain
		}
		current := 0.0
		if rest == restNone {
			current = 80 * math.Sin(float64(k)/40)
		}
		s.change = func(of *plugin.Summary) {
			for i, c := range of.GetChannels() {
				c.TemperatureCelsius, c.TemperatureKnown = 20+10*math.Sin(float64(k)/900), k%3 == 0
				for j := range c.PlayMeanRatios {
					c.PlayMeanRatios[j] = math.Cos(float64(k*(j+1))/50 + float64(i))
				}
			}
		}
		if k%1000 == 999 {
			s.mark(float64(k), 500)
		}
		s.next(rest, current+0.2, current+0.5+current*0.001)
	}
}

func couple(t testing.TB) *script {
	t.Helper()
	twin := mainChannel()
	twin.Name = "twin"
	return scriptOf(t, started(t, with{"channels": with{"twin": with{"hysteresis_amperes": 0.2}}, "residual_amperes": 0.01}, mainChannel(), twin))
}

// What is restored goes on to the same bits, also from within a rest, a window and a span between marks.
func TestSnapshotGoesOnToTheSameBits(t *testing.T) {
	for _, at := range []int{0, 1, 555, 1095, 2050} {
		s := couple(t)
		course(s, 0, at)
		state, err := s.Snapshot()
		if err != nil {
			t.Fatal(err)
		}
		restored := couple(t)
		if err := restored.Restore(state); err != nil {
			t.Fatal(err)
		}
		restored.count, restored.nanos = s.count, s.nanos
		course(s, at, at+1300)
		course(restored, at, at+1300)
		if !slices.Equal(s.filter.x, restored.filter.x) || !slices.Equal(s.filter.p, restored.filter.p) {
			t.Errorf("after %d summaries: restored it goes on otherwise", at)
		}
	}
}

// A channel that is new begins with its prior; what was known of the other stays.
func TestSnapshotOfOtherChannels(t *testing.T) {
	s := couple(t)
	course(s, 0, 2000)
	state, err := s.Snapshot()
	if err != nil {
		t.Fatal(err)
	}
	fresh := mainChannel()
	fresh.Name = "fresh"
	e := started(t, nil, fresh, mainChannel())
	if err := e.Restore(state); err != nil {
		t.Fatal(err)
	}
	was, is, began := s.channels[0].at, e.channels[1].at, e.channels[0].at
	if e.filter.x[is.charge] != s.filter.x[was.charge] || e.filter.p[is.zero*e.filter.n+is.charge] != s.filter.p[was.zero*s.filter.n+was.charge] {
		t.Error("main was not taken over")
	}
	if e.filter.x[began.zero] != 0 || e.filter.p[began.zero*e.filter.n+began.zero] != 0.25 {
		t.Error("fresh does not begin with its prior")
	}
}

func TestSnapshotsThatMakeNoSenseAreRefused(t *testing.T) {
	body := func(rest string) string { return `{"format":"biasfilter/1",` + rest + `}` }
	for state, want := range map[string]string{
		"":                            "no snapshot of biasfilter",
		`{"format":"fixedzero/1"}`:    `snapshot is of format "fixedzero/1"`,
		body(`"states":["a"]`):        "1 states with 0 means",
		body(`"states":[]`):           "no channels",
		body(`"channels":{"a":null}`): `nothing is known of channel "a"`,
		body(`"channels":{"a":{"age_seconds":-1}}`):                                "below 0",
		body(`"states":["a"],"mean":[0],"covariance":[-1]`):                        "state a is 0 with the variance -1",
		body(`"states":["a","b"],"mean":[0,0],"covariance":[1,2,1],"channels":{}`): "at most 1 is possible",
	} {
		e := started(t, nil, mainChannel())
		if err := e.Restore([]byte(state)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: error %v, want %s", state, err, want)
		}
	}
}

// The zero walks on while nothing is read; a time base that goes back adds nothing by itself.
func TestAge(t *testing.T) {
	s := plain(t, nil)
	s.over(6000, restCertain, 0.3)
	before := s.last.GetStandardUncertaintyAmperes()
	b, draw := s.last.GetCorrectionCoulombs(), s.memory.Draw
	s.nanos = 0
	s.next(restCertain, 0.3)
	if s.memory.Draw == draw {
		t.Error("the rest went on across time bases")
	}
	s.next(restNone, 0.3)
	near(t, "a new time base", s.last.GetStandardUncertaintyAmperes(), before, 5e-2)
	s.Age(9 * time.Hour)
	s.next(restNone, 0.3)
	near(t, "after 9 h", s.last.GetStandardUncertaintyAmperes(), math.Hypot(before, 0.06), 1e-2)
	if got := s.last.GetCorrectionCoulombs() - b; math.Abs(got-9) > 0.2 {
		t.Errorf("B moved by %v C, want that of 30 s", got)
	}
}

// Time that no integral covers lets the zero walk and B stand.
func TestTimeThatIsNotIntegrated(t *testing.T) {
	s := plain(t, nil)
	s.over(600, restCertain, 0.3)
	before := s.last
	s.nanos += 9 * 3600e9
	s.next(restNone, 0.3)
	near(t, "offset after 9 h", s.last.GetStandardUncertaintyAmperes(), math.Hypot(before.StandardUncertaintyAmperes, 0.06), 1e-2)
	if got := s.last.GetCorrectionCoulombs() - before.CorrectionCoulombs; math.Abs(got-3) > 0.1 {
		t.Errorf("B moved by %v C, want that of 10 s", got)
	}
}

func TestUnknownAndDoubledChannels(t *testing.T) {
	e := started(t, nil, mainChannel())
	for want, names := range map[string][]string{`channel "x" was not configured`: {"x"}, `channel "main" stands twice in a summary`: {"main", "main"}} {
		s := &plugin.Summary{}
		for _, name := range names {
			s.Channels = append(s.Channels, &plugin.ChannelSummary{Name: name})
		}
		if _, err := e.Observe(s); err == nil || err.Error() != want {
			t.Errorf("error %v, want %s", err, want)
		}
	}
}

// repeated gives a function that takes two channels through load, rest and comparison, summary by summary.
func repeated(t testing.TB) (update func()) {
	s := couple(t)
	course(s, 0, 500)
	e := s.Estimator
	const length = int64(10e9)
	summary := &plugin.Summary{}
	for _, c := range e.channels {
		summary.Channels = append(summary.Channels, &plugin.ChannelSummary{
			Name: c.name, ReadingCount: 100, MeanAmperes: 0.3, VarianceSquareAmperes: 0.04, IntegralSeconds: 10, IntegralCoulombs: 3,
			PlayMeanRatios: make([]float64, len(c.plays)), TemperatureKnown: true, TemperatureCelsius: 25,
		})
	}
	k := s.count
	return func() {
		summary.FirstSequence, summary.LastSequence = k*100, k*100+99
		summary.FirstMonotonicNanos, summary.LastMonotonicNanos = int64(k)*length+length/100, int64(k+1)*length
		summary.Rest = restNone
		if k%20 > 14 {
			summary.Rest = restCertain
		}
		k++
		if err := e.update(summary); err != nil {
			t.Error(err)
		}
	}
}

func TestUpdateAllocatesNothing(t *testing.T) {
	update := repeated(t)
	for range 100 {
		update()
	}
	if n := testing.AllocsPerRun(1000, update); n != 0 {
		t.Errorf("%v allocations a summary", n)
	}
}

// One summary of two channels, 27 states, a quarter of them of a rest.
func BenchmarkUpdate(b *testing.B) {
	update := repeated(b)
	b.ReportAllocs()
	for b.Loop() {
		update()
	}
}
